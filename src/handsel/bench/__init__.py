"""The web application: the only part that knows a database. One folder per feature; see urls.py for the pages."""
