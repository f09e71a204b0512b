"""Where the data files the program shares with tests and documentation lie."""

from importlib.resources import files
from importlib.resources.abc import Traversable


def shared_folder(name: str) -> Traversable:
    """Return one folder of shared data, such as ``scenario``.

    An installed wheel carries it inside the package (``service/_shared/<name>``), an editable checkout beside it
    (``<checkout>/shared/<name>``). Raises FileNotFoundError naming both places when neither holds it.
    """
    package = files("service")
    places = (package / "_shared" / name, package / ".." / "shared" / name)
    for place in places:
        if place.is_dir():
            return place
    raise FileNotFoundError(f"no shared folder {name!r}: looked in {' and '.join(str(place) for place in places)}")
