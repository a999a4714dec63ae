"""Stops reading an upload as soon as it is too large."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import RequestDataTooBig
from django.core.files.uploadhandler import FileUploadHandler


class Cap(FileUploadHandler):
    """Counts what comes through; the handlers after it store it."""

    def __init__(self, request: Any, most_bytes: int) -> None:
        super().__init__(request)
        self.most_bytes, self.count = most_bytes, 0

    def handle_raw_input(
        self, input_data: Any, META: Any, content_length: int, boundary: Any, encoding: Any = None
    ) -> None:
        if content_length > self.most_bytes + 100_000:  # what a form has around its file
            raise RequestDataTooBig

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes:
        self.count += len(raw_data)
        if self.count > self.most_bytes:
            raise RequestDataTooBig
        return raw_data

    def file_complete(self, file_size: int) -> None:
        return None
