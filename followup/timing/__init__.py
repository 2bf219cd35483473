"""Pure computations on time: rounds of a day, trips to the clinic, the clinic's calendar."""
