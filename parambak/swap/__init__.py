"""Replacing a processor card: may it begin, what is loaded, and is it proven the same."""
