"""The demo film of lookkit: a day at an invented pottery, rendered from spectra."""
