"""Takes the prompter's own sound out of the microphone's."""
