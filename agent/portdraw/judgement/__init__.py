"""What is true, what is wrong, since when? Imports powerflow, plan, observation; pure, never reading."""
