"""What a plan, two plans or the inputs of one hold, in words."""
