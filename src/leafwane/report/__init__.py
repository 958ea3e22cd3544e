"""Figures, filmstrip and page for people."""
