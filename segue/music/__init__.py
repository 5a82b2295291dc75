"""Pure music theory: keys, chords, tonal distance, tempo curves. No audio, no files."""
