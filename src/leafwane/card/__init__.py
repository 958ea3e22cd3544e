"""The reference card: its design, the sheet to print, and finding it in a photo."""
