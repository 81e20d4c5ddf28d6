"""The words people may say: how easily one is taken for another."""
