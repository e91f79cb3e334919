"""Trial runs: the simulated plant worked by hand beside the rungs."""
