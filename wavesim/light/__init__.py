"""Spectra: what the source sends, through the filters, in air wavelengths."""
