"""Operation lists as clinics keep them: tables of their own columns and words, read and handed back."""
