"""Files in and out: photographs read and written without losing anything."""

from evenhand.photo.kinds import FileKind
from evenhand.photo.limits import PIXEL_LIMIT
from evenhand.photo.openraster import write_openraster
from evenhand.photo.photograph import Photograph, from_array
from evenhand.photo.pictures import write_picture
from evenhand.photo.reading import read
from evenhand.photo.stage_folder import write_stage_folder
from evenhand.photo.stages import Stage, stages_of
from evenhand.photo.writing import write
from evenhand.photo.xmp import Edit

__all__ = [
    "PIXEL_LIMIT",
    "Edit",
    "FileKind",
    "Photograph",
    "Stage",
    "from_array",
    "read",
    "stages_of",
    "write",
    "write_openraster",
    "write_picture",
    "write_stage_folder",
]
