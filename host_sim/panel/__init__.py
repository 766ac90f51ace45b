"""The live panel: the twin, or a board over the link, in a page of this computer's browser."""
