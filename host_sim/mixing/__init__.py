"""What to put into the tank: product and water for each fill and each jar."""
