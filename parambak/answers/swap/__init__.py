"""The jobs of a swap: may it begin, what is loaded, was it loaded rightly, is it over."""
