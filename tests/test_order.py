"""The run of all tests begins with the files that take longest."""

from tests.conftest import DEAR_FIRST, ROOT


def test_the_dear_files_are_there():
    """A file that was renamed would fall back among the others in silence."""
    gone = [start for start in DEAR_FIRST if not list(ROOT.glob(f"{start.rstrip('/')}*"))]
    assert gone == []


def test_they_come_first(request):
    """Nothing else is collected before them, when all is collected."""
    files = list(dict.fromkeys(item.nodeid.partition("::")[0] for item in request.session.items))
    dear = [name.startswith(DEAR_FIRST) for name in files]
    assert dear == sorted(dear, reverse=True)
