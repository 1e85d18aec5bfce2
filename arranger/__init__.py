"""Piano MIDI in, a solo fingerstyle guitar arrangement a student can play out."""
