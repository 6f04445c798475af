"""Relief loads and reaction forces: wetted and unwetted fire, thermal expansion, reaction."""
