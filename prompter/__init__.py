"""A voice that takes a caregiver through a breathing emergency at a home tracheostomy."""

__version__ = "0.1.0"
