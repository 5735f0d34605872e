"""Bytes on disk under their SHA-256: written whole before the row commits, never overwritten, served only through a
view that checks rights.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import tempfile
from pathlib import Path

from django.conf import settings

from jobs.core import clock
from jobs.core.actors import Actor
from jobs.core.models import Document, Job, StoredFile
from jobs.core.refusals import Refused

LARGEST = 20 * 1024 * 1024

# What a file's first bytes must be for the kinds we take; a file that is not what its name says is refused.
SIGNATURES: dict[str, tuple[bytes, ...]] = {
    "image/jpeg": (b"\xff\xd8\xff",),
    "image/png": (b"\x89PNG\r\n\x1a\n",),
    "application/pdf": (b"%PDF-",),
}
ENDINGS = {".jpg": "image/jpeg", ".jpeg": "image/jpeg", ".png": "image/png", ".pdf": "application/pdf"}


def path_of(sha256: str) -> Path:
    return Path(settings.FILES_DIR) / sha256[:2] / sha256[2:4] / sha256


def store(data: bytes) -> StoredFile:
    """Keep bytes; the same bytes are kept once."""
    digest = hashlib.sha256(data).hexdigest()
    path = path_of(digest)
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        descriptor, draft = tempfile.mkstemp(dir=path.parent)
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(draft, path)
    row, _ = StoredFile.objects.get_or_create(sha256=digest, defaults={"size": len(data)})
    return row


def read(file: StoredFile) -> bytes:
    return path_of(file.sha256).read_bytes()


def kind_of(name: str, data: bytes) -> str:
    """The content type that name and first bytes agree on, or a refusal."""
    wanted = ENDINGS.get(Path(name).suffix.lower())
    if wanted is None:
        raise Refused(f"“{name}” is not a JPEG, PNG or PDF file; wanted one of these.", field="photo")
    if not data.startswith(SIGNATURES[wanted]):
        raise Refused(f"“{name}” is not what its name says: its contents are not {wanted.partition('/')[2].upper()}.", field="photo")
    return wanted


def too_large(name: str, size: int) -> str:
    """What is wrong with a file of so many bytes, asked before any of them is read; nothing if it may be kept."""
    return f"“{name}” has {size // 1024 // 1024} MB; at most 20 MB are taken." if size > LARGEST else ""


def keep(name: str, data: bytes) -> tuple[StoredFile, str]:
    """The bytes as they are kept, a picture without its metadata, and their content type."""
    if not data:
        raise Refused(f"“{name}” is empty.", field="photo")
    if fault := too_large(name, len(data)):
        raise Refused(fault, field="photo")
    kind = kind_of(name, data)
    return store(without_position(data, kind) if kind.startswith("image/") else data), kind


def add_document(job: Job, *, name: str, data: bytes, subject: str, by: Actor, taken_on: dt.date | None = None) -> Document:
    """Keep a photo or paper of a job. Called inside an act."""
    file, kind = keep(name, data)
    return Document.objects.create(
        job=job,
        file=file,
        subject=subject,
        name=Path(name).name[-160:],
        content_type=kind,
        taken_on=taken_on,
        added_at=clock.now(),
        added_by=by.name,
    )


def without_position(data: bytes, kind: str) -> bytes:
    """The picture without its metadata: a phone writes where it stood."""
    import io

    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with Image.open(io.BytesIO(data)) as picture:
            upright = ImageOps.exif_transpose(picture)
            clean = Image.frombytes(upright.mode, upright.size, upright.tobytes())
            if upright.mode == "P":
                clean = upright.convert("RGB")
            out = io.BytesIO()
            clean.save(out, "JPEG" if kind == "image/jpeg" else "PNG", quality=88)
    except (UnidentifiedImageError, OSError, Image.DecompressionBombError) as fault:
        raise Refused("The picture cannot be read; take it again or send it as JPEG.", field="photo") from fault
    return out.getvalue()


def orphans() -> list[Path]:
    """Files on disk that no row names."""
    known = set(StoredFile.objects.values_list("sha256", flat=True))
    return [path for path in Path(settings.FILES_DIR).glob("??/??/*") if len(path.name) == 64 and path.name not in known]
