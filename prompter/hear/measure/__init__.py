"""How often the hearing is right, wrong or asks again, on a folder of recordings."""
