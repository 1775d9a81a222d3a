"""Settings of the serving program: command before environment before file before default; everything is checked."""

from __future__ import annotations

import pytest

from cakewright.app.settings import SETTINGS, serve_settings
from cakewright.errors import InputError
from tests.conftest import ROOT


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "serve.toml"
    path.write_text('port = 9000\nnames = ["planning-pc"]\nlog = "json"\nstop_seconds = 30\n')
    return path


def test_the_nearest_word_counts(file):
    """The command over the environment over the file over the default."""
    environment = {"CAKEWRIGHT_PORT": "9100", "CAKEWRIGHT_BEHIND_TLS": "yes", "CAKEWRIGHT_SETTINGS": str(file)}
    found = serve_settings(None, environment, {"port": 9200})
    assert (found.port, found.behind_tls, found.names, found.log) == (9200, True, ("planning-pc",), "json")
    assert (found.stop_seconds, found.host) == (30.0, "127.0.0.1")
    assert serve_settings(file, {"CAKEWRIGHT_PORT": "9100", "CAKEWRIGHT_NAMES": "a, b"}).names == ("a", "b")
    assert serve_settings(None, {}).port == 8765


@pytest.mark.parametrize(
    ("content", "environment", "said"),
    [
        ("prot = 9000", {}, "did you mean port"),
        ("port = 'nine'", {}, "give a whole number"),
        ("port = 70000", {}, "give 0 to 65535"),
        ("port = true", {}, "give a whole number"),
        ("log = 'xml'", {}, "one of: text, json"),
        ("names = [1]", {}, "give a list of texts"),
        ("port = ", {}, "is no TOML file"),
        ("", {"CAKEWRIGHT_PROT": "1"}, "did you mean CAKEWRIGHT_PORT"),
        ("", {"CAKEWRIGHT_STOP_SECONDS": "soon"}, "give a number"),
        ("", {"CAKEWRIGHT_BEHIND_TLS": "perhaps"}, "true or false"),
    ],
)
def test_what_cannot_be_is_refused_with_its_name(tmp_path, content, environment, said):
    """File, line or variable, and what it may be."""
    path = tmp_path / "serve.toml"
    path.write_text(content)
    with pytest.raises(InputError, match=said) as caught:
        serve_settings(path, environment)
    assert caught.value.where


def test_a_file_that_is_not_there(tmp_path):
    """Named, not ignored."""
    with pytest.raises(InputError, match="cannot be read"):
        serve_settings(tmp_path / "none.toml", {})


def test_the_example_is_valid_and_every_setting_says_what_it_is():
    """What is shipped can be used."""
    assert serve_settings(ROOT / "packaging/serve.toml", {}).stop_seconds == 60.0
    assert all(setting.meaning.endswith(".") for setting in SETTINGS)
