"""What is done with recordings and readings: measuring, solving, turning an answer into tape."""
