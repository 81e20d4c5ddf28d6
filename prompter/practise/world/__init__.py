"""A world to fail in: simulated patients and caregivers around the real flow machine, without sound."""
