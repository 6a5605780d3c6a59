"""Drawings as SVG, and as PDF and PNG made of them."""
