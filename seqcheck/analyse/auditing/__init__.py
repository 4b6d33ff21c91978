"""What each permissive and trip is for, which commands are refused without need, what would mend a hazard, and the margins."""
