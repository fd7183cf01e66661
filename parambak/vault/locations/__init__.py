"""Second copies of the vault: folders, sticks, servers, and what is sent there."""
