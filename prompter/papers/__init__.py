"""What a protocol looks like on paper: its diagram, the card for the wall, what changed between two."""
