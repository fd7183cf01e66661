"""The questions of second backup locations: added, sent to, listed, removed."""
