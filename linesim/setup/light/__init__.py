"""Light at the door: spectra, curves over wavelength, illuminance."""
