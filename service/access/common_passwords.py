"""The commonest passwords of twelve characters and more, made from what people begin with. From memory, no source."""

from __future__ import annotations

WORDS = """
password passwort passw0rd p@ssword p@ssw0rd welcome letmein iloveyou qwerty qwertz azerty qwertyuiop qwertzuiop
azertyuiop asdfghjkl yxcvbnm zxcvbnm admin administrator root user guest login master monkey dragon sunshine princess
football baseball superman batman trustno changeme default secret whatever starwars computer internet
abc abcd abcde abcdef abcdefg abcdefgh abcdefghi abcdefghij aquarium reef coral corals ooid keeper saltwater seawater
fish fishtank thisismypassword mypassword correcthorsebatterystaple adminadmin qwertyqwerty iloveyouiloveyou
welcomewelcome letmeinletmein passwordpassword onetwothreefour
spring summer autumn winter january february march april june july august september october november december
"""
STEMS = frozenset(WORDS.split())
TAILS = "0123456789!?.*#$_-@+ "  # what is hung on to reach the length
RUNS = ("01234567890123456789", "09876543210987654321", "qwertyuiopasdfghjklzxcvbnm", "abcdefghijklmnopqrstuvwxyz")


def is_commonplace(password: str) -> bool:
    """Whether a password is a stem with digits and marks around it, a run of keys, or one short piece repeated."""
    text = password.casefold()
    bare = text.strip(TAILS)
    return bare in STEMS or not bare or any(text in run + run for run in RUNS) or _is_repeated(text)


def _is_repeated(text: str) -> bool:
    return any((text[:size] * len(text))[: len(text)] == text for size in (1, 2, 3, 4))
