"""The proof: every reachable state of a flow is walked, and what must hold there is looked at."""
