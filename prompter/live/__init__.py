"""One emergency live: microphone, keys and clock in; loudspeaker, screen and journal out."""
