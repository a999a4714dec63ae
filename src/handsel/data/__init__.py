"""What is written down: designs, protocols and tables, and the code that loads and checks them."""
