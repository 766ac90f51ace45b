"""A board at the other end of a cable: link, files, checks and recordings."""
