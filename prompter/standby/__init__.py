"""Waits for hours with little computing until somebody starts an emergency; watches nobody."""
