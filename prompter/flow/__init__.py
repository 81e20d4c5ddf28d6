"""Flow documents, the pure machine that walks them, and the proof of them."""
