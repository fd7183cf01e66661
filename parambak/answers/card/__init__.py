"""The jobs about processor cards: their serial numbers, their sheets, where they are."""
