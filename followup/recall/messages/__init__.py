"""Messages to patients and carers: written, counted, queued, sent, and what could not be sent."""
