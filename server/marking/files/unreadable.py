"""A file that is not there."""

from server.marking.files.document import Fault, FileFault


class UnreadableFile(FileFault):
    """A file that is missing or can't be read, so that none of its lines is at fault."""

    def __init__(self, file: str, sentence: str) -> None:
        super().__init__(file, [Fault(1, 1, "", sentence)])
        self.args = (f"{file}: {sentence}",)
