"""Whether every picture is the one that was recorded: the trail holds its photo to a digest, and that the picture's."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from sqlmodel import Session, col, select

from service.resources.records.photos.models import Photo, PhotoPicture

AT_ONCE = 4  # pictures in memory


def faults(session: Session) -> Iterator[str]:
    """Every picture that was edited, moved or lost, one sentence each."""
    there = select(PhotoPicture.photo_id).where(PhotoPicture.photo_id == Photo.id)
    for photo_id in session.exec(select(Photo.id).where(~there.exists()).order_by(col(Photo.id))):
        yield f"photo {photo_id} has lost its picture"
    stray = select(PhotoPicture.photo_id).where(~select(Photo.id).where(Photo.id == PhotoPicture.photo_id).exists())
    for photo_id in session.exec(stray.order_by(col(PhotoPicture.photo_id))):
        yield f"the picture {photo_id} belongs to no photo"
    both = select(PhotoPicture, Photo).join(Photo, col(Photo.id) == PhotoPicture.photo_id).order_by(col(Photo.id))
    for picture, photo in session.exec(both.execution_options(yield_per=AT_ONCE)):
        if (hashlib.sha256(picture.jpeg).digest(), picture.site_id) != (photo.sha256, photo.site_id):
            yield f"the picture of photo {photo.id} was edited"
        session.expunge(picture)
