"""The account of many incidents of many homes: what stalls, what is misheard, what must be repeated."""
