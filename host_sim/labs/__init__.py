"""Labs: exercises on the twin, with a sheet for the student and notes for the instructor."""
