"""The ears' models: which are known, whether a folder holds one, and how to get one."""
