"""What is handed on: the drawing of a hand and the page for the bench. Results in, SVG and PDF out."""
