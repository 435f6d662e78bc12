"""Large files are refused while they arrive, before they fill the disk."""

from django.conf import settings
from django.core.files.uploadhandler import FileUploadHandler, SkipFile, StopUpload

PHOTOS_AT_ONCE = 12


class PhotoLimit(FileUploadHandler):
    """Stands before Django's own handlers: drops a file once it is too large, and remembers its name.

    The rest of such a file is read past, so that nothing typed is lost. A sending that by its own word is larger than
    any that makes sense is cut at its first file: what stands behind it in the form is not read.
    """

    def __init__(self, request=None):
        super().__init__(request)
        self.too_large = []
        self.was_cut = False
        self.whole = 0
        self.so_far = 0

    def handle_raw_input(self, input_data, META, content_length, boundary, encoding=None):
        self.whole = content_length

    def new_file(self, *args, **kwargs):
        super().new_file(*args, **kwargs)
        self.so_far = 0
        if self.whole > PHOTOS_AT_ONCE * settings.PHOTO_MAX_BYTES:
            self.too_large.append(self.file_name)
            self.was_cut = True
            raise StopUpload(connection_reset=True)

    def receive_data_chunk(self, raw_data, start):
        self.so_far += len(raw_data)
        if self.so_far > settings.PHOTO_MAX_BYTES:
            self.too_large.append(self.file_name)
            raise SkipFile
        return raw_data

    def file_complete(self, file_size):
        return None
