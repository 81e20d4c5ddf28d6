"""Simulated caregivers, rehearsals of whole emergencies, and what they show."""
