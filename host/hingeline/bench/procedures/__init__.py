"""What is done at the bench, step by step; who answers and where it is noted is passed in."""
