from __future__ import annotations

import hashlib
import io

import pytest
from PIL import Image

from jobs.core import files, secrets
from jobs.core.models import Document, StoredFile, Trace
from jobs.core.refusals import Refused
from tests.make import PNG, SYSTEM, make_job

pytestmark = pytest.mark.django_db


def photo_with_position() -> bytes:
    picture = Image.new("RGB", (40, 20), "grey")
    exif = picture.getexif()
    exif[0x8825] = {1: "N", 2: (39.0, 44.0, 21.0), 3: "W", 4: (104.0, 59.0, 3.0)}
    out = io.BytesIO()
    picture.save(out, "JPEG", exif=exif)
    return out.getvalue()


def test_the_sha_256_of_abc_is_the_published_one():
    # FIPS 180-4, the example "abc" (TRADE row Q7).
    assert files.store(b"abc").sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_the_same_bytes_are_kept_once_and_read_back():
    first, second = files.store(b"a bag by the meter"), files.store(b"a bag by the meter")

    assert first == second
    assert files.read(first) == b"a bag by the meter"
    assert files.path_of(first.sha256).name == hashlib.sha256(b"a bag by the meter").hexdigest()


def test_a_photo_is_kept_without_where_it_was_taken():
    document = files.add_document(make_job(), name="bag.jpg", data=photo_with_position(), subject="bag", by=SYSTEM)

    with Image.open(io.BytesIO(files.read(document.file))) as kept:
        assert not kept.getexif()
        assert kept.size == (40, 20)


@pytest.mark.parametrize(
    ("name", "data", "says"),
    [
        ("bag.heic", b"....", "wanted one of these"),
        ("bag.png", b"<html>", "not what its name says"),
        ("bag.png", b"", "is empty"),
        ("bag.png", PNG[:20] + b"garbage", "cannot be read"),
    ],
)
def test_a_file_that_is_not_what_it_says_is_refused(name, data, says):
    job = make_job()

    with pytest.raises(Refused, match=says):
        files.add_document(job, name=name, data=data, subject="bag", by=SYSTEM)

    assert not Document.objects.filter(job=job).exists()


def test_bytes_that_no_row_names_are_found():
    kept = files.store(b"kept")
    lost = files.store(b"lost")
    StoredFile.objects.filter(pk=lost.pk).delete()

    found = {path.name for path in files.orphans()}

    assert lost.sha256 in found
    assert kept.sha256 not in found


def test_a_gate_code_is_sealed_and_each_showing_is_traced(dana):
    job = make_job()
    row = secrets.keep_code(job, name="gate", code="4711#", by=dana)
    assert b"4711" not in bytes(row.sealed)

    assert secrets.reveal_code(job, name="gate", purpose="visit today", by=dana) == "4711#"

    assert Trace.objects.filter(job=job, act__startswith="shown: gate, for visit today").count() == 1
    with pytest.raises(Refused, match="what the code is needed for"):
        secrets.reveal_code(job, name="gate", purpose=" ", by=dana)
