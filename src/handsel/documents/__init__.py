"""What is handed on: the drawing of a hand and the papers that go with it. Results in, SVG and PDF out."""
