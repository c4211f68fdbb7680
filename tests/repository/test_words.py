"""Words, paths and addresses that have no place in the repository. They are put together here from pieces,
so that this file does not trip over itself."""

import re

import pytest

from tests.repository.tree import relative, tracked_files


def _word(*pieces: str) -> str:
    return r"\b" + "".join(pieces) + r"\b"


_HOSTS = (
    ("py", "pi.org"),
    ("python", "hosted.org"),
    ("npm", "js.org"),
    ("npm", "js.com"),
    ("deb", "ian.org"),
    ("ubun", "tu.com"),
    ("ana", "conda.org"),
    ("ana", "conda.com"),
    ("cra", "tes.io"),
    ("unp", "kg.com"),
    ("jsde", "livr.net"),
    ("cdnjs.cloud", "flare.com"),
)
_FOLDERS = (("wo", "rk"), ("fa", "rm"), ("ro", "ot"), ("tm", "p"), ("ho", "me"), ("Us", "ers"), ("va", "r/lib"))

#: What -> pattern. Patterns are searched without regard to case unless they say otherwise.
BARRED = {
    "how it was made": "|".join(
        (
            _word("trans", "cripts?"),
            _word("seed", "[ -]", "documents?"),
            _word("vid", "eos?"),
            _word("help", "ers?"),
            _word("language", " models?"),
            _word("(?-i:", "A", "I", ")"),
            _word("L", "LMs?"),
            _word("farm", "-studio"),
            _word("issues", " show"),
            _word("issues?", r"\s+(?:no\.?\s*|number\s+)?#?\d+"),
        )
    ),
    "a path of one machine": r"(?:^|[^A-Za-z0-9._/~-])/(?-i:" + "|".join(map("".join, _FOLDERS)) + r")/[A-Za-z0-9._-]",
    "a path of one Windows machine": r"\b[A-Z]:\\" + "(?:Us" + "ers|Doc" + "uments)",
    "a package registry": "|".join(re.escape("".join(host)) for host in _HOSTS) + "|--?(?:extra-)?index" + "-url",
}
BARRED = {what: re.compile(pattern, re.IGNORECASE | re.MULTILINE) for what, pattern in BARRED.items()}

#: Hosts an address may name: this computer, namespaces, identifiers, and the names set aside for examples.
_ADDRESS = re.compile(r"\b(?:https?|wss?)://([^\s/:\"'`<>)\]}]*)", re.IGNORECASE)
ALLOWED_HOST = re.compile(
    r"(?:localhost|127\.0\.0\.1|0\.0\.0\.0|192\.168\.\d+\.\d+|10\.\d+\.\d+\.\d+|www\.w3\.org|doi\.org"
    r"|json-schema\.org|(?:[\w-]+\.)*example(?:\.(?:com|org|net))?|[\w-]+\.test|[\w-]+\.local)\Z",
    re.IGNORECASE,
)


def faults_in(text: str) -> list[str]:
    """Barred words, paths and addresses in a text, with the line number."""
    found = [
        (text.count("\n", 0, match.start()) + 1, f"{what}: {match.group().strip()!r}")
        for what, pattern in BARRED.items()
        for match in pattern.finditer(text)
    ]
    for match in _ADDRESS.finditer(text):
        host = match.group(1).rpartition("@")[2]
        # An address put together while the program runs starts with a letter only by accident.
        if host.strip(".") and not host.startswith(("{", "$", "%", "[")) and not ALLOWED_HOST.match(host):
            found.append((text.count("\n", 0, match.start()) + 1, f"an outside address: {match.group()!r}"))
    return [f"line {line}: {what}" for line, what in sorted(found)]


#: Where an address names the source of a number. Nothing there reaches a page.
CITING = ("data/", "tests/published/")
#: Files of others, carried word for word: a browser library and its licence.
CARRIED = re.compile(r"\.min\.js\Z|LICENSE")


def test_nothing_barred_in_any_file() -> None:
    found, read = {}, 0
    for path in tracked_files():
        raw = path.read_bytes()
        if b"\0" in raw[:8192]:
            continue
        read += 1
        faults = faults_in(raw.decode("utf-8"))
        if CARRIED.search(path.name):
            faults = [fault for fault in faults if "registry" in fault or "machine" in fault]
        if relative(path).startswith(CITING):
            faults = [fault for fault in faults if "outside address" not in fault]
        if faults:
            found[relative(path)] = faults
    assert read > 10
    assert found == {}


def test_nothing_barred_in_any_file_name() -> None:
    names = "\n".join(relative(path).replace("_", " ").replace("/", " ") for path in tracked_files())
    assert faults_in(names) == []


@pytest.mark.parametrize(
    "text",
    [
        "as the trans" + "cript says",
        "Seed " + "document, page 2",
        "watch the vid" + "eo",
        "a small help" + "er",
        "written by an A" + "I",
        "see issue" + " 12",
        "see issue" + " #3",
        "run iss" + "ues show 2",
        "open('/ro" + "ot/notes')",
        "path=/tm" + "p/x",
        "C:\\Us" + "ers\\me",
        "get it from py" + "pi.org/simple",
        "pip install --extra-index" + "-url there",
        "https" + "://somewhere.io/lib.js",
        "//cdn.jsde" + "livr.net/npm/x",
    ],
)
def test_checker_sees(text: str) -> None:
    assert len(faults_in(f"fine\n{text}\nfine")) >= 1
    assert faults_in(f"fine\n{text}\nfine")[0].startswith("line 2")


@pytest.mark.parametrize(
    "text",
    [
        "http://127.0.0.1:8350/chapter?stage=follower",
        'xmlns="http://www.w3.org/2000/svg"',
        "f'http://{host}:{port}/'",
        "https://doi.org/10.1109/JSSC.1968.1049902",
        "voila #1189 leaks while it waits",
        "a fair sample, chained air, PAIR",
        "prints http://... once ready",
        "notebooks/work/ and ./tmp/file",
        "https://workshop.example/lab/?v=1",
    ],
)
def test_checker_lets_pass(text: str) -> None:
    assert faults_in(text) == []
