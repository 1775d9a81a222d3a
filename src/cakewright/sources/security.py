"""Numbers of logging in: lengths, waiting times, how long a session lasts."""

from cakewright.sources.reference import Reference, Status

_OURS = "chosen by us"

PASSWORD_LENGTH = Reference(
    "security.password_length", 15, "characters", Status.FROM_MEMORY,
    "NIST SP 800-63B-4: at least 15 where a password is all there is; not checked against the text",
)  # fmt: skip
PASSWORD_LONGEST = Reference("security.password_longest", 200, "characters", Status.DEFAULT, _OURS)
SESSION_HOURS = Reference("security.session_hours", 12.0, "h", Status.DEFAULT, _OURS, "a shift and a bit")
TRIES = Reference("security.tries", 5, "tries", Status.DEFAULT, _OURS, "wrong passwords before a name has to wait")
WAIT_MINUTES = Reference("security.wait_minutes", 15.0, "min", Status.DEFAULT, _OURS)
