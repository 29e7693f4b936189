"""One e-mail address: taken as it stands, or not at all."""

import re

_ATOM = r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+"
_MAILBOX = re.compile(rf"{_ATOM}(?:\.{_ATOM})*")
_LABEL = re.compile(r"(?!-)[a-z0-9-]{1,63}(?<!-)")
_LONGEST, _LONGEST_MAILBOX = 254, 64  # RFC 5321, 4.5.3.1


def address(text: str) -> str | None:
    """Give the one plain address a text is, its domain in ASCII; None for anything else.

    Nothing is repaired: lists, names beside the address, comments, quotes, numbers for a domain and letters beyond
    ASCII before the @ are refused, and so is a domain that the rules for international names turn into another one.
    """
    mailbox, at, domain = text.strip(" ").partition("@")
    domain = _in_ascii(domain.lower())
    labels = domain.split(".")
    right = (
        at
        and len(mailbox) <= _LONGEST_MAILBOX
        and len(mailbox) + 1 + len(domain) <= _LONGEST
        and _MAILBOX.fullmatch(mailbox)
        and "=?" not in mailbox  # a library may read another address out of it
        and len(labels) > 1
        and not labels[-1].isdigit()
        and all(_LABEL.fullmatch(label) for label in labels)
    )
    return f"{mailbox}@{domain}" if right else None


def _in_ascii(domain: str) -> str:
    """Write an international domain in ASCII, or nothing where that is not one to one."""
    if domain.isascii():
        return domain
    try:
        coded = domain.encode("idna")
        return coded.decode("ascii") if coded.decode("idna") == domain else ""
    except UnicodeError:
        return ""
