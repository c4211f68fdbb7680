"""The server's answers to plain requests: addresses, headers, static files, and what it refuses."""

import gzip
import http.client
import re
import socket
from pathlib import Path
from urllib.parse import urljoin, urlsplit

import pytest
import requests

from piezolab.serving.pages import QUERY_LIMIT

CHAPTER = "does-it-move"


@pytest.fixture(scope="module")
def chapter_page(server):
    """One chapter's page, as text with its response, loaded with a chain in the address."""
    return requests.get(server.url + CHAPTER + "?pickup_c=4n7&tuning=D3-A3-D4", timeout=60)


def own_links(page: str) -> list[str]:
    return re.findall(r'(?:src|href)="([^"]+)"', page)


def raw(server, path: str, method: str = "GET", headers: dict[str, str] | None = None) -> tuple[int, bytes]:
    """An answer to a path sent exactly as written."""
    connection = http.client.HTTPConnection(urlsplit(server.url).netloc, timeout=60)
    try:
        connection.putrequest(method, path, skip_host=bool(headers and "Host" in headers))
        for name, value in (headers or {}).items():
            connection.putheader(name, value)
        connection.endheaders()
        answer = connection.getresponse()
        return answer.status, answer.read()
    finally:
        connection.close()


def test_start_page_is_the_index(server):
    page = requests.get(server.url, timeout=60)
    assert page.status_code == 200
    assert "<title>All questions</title>" in page.text and 'href="does-it-move"' in page.text


def test_chapter_has_its_question_as_address_and_title(chapter_page):
    assert chapter_page.status_code == 200
    assert "<title>Does it move?</title>" in chapter_page.text


def test_a_cells_standard_error_is_no_part_of_its_page(server):
    page = requests.get(server.url + "is-it-set", timeout=60).text
    assert "on stdout" in page and "on stderr" not in page


def test_page_is_british_fits_a_phone_and_speaks_without_script(chapter_page):
    page = chapter_page.text
    assert '<html lang="en-GB">' in page
    assert '<meta name="viewport" content="width=device-width, initial-scale=1">' in page
    assert "<noscript>" in page and 'class="pz-skip" href="#rendered_cells"' in page
    assert page.count("<main") == 1


def test_page_names_no_other_host(chapter_page):
    addresses = re.findall(r"(?:https?:)?//[\w.-]+\.\w+", re.sub(r"xmlns[^>]*", "", chapter_page.text))
    assert addresses == []
    assert all(link.startswith(("/static/", "#")) or link == "data:" for link in own_links(chapter_page.text))


def test_query_reaches_the_kernel_and_only_the_chain_does(server, chapter_page):
    assert "pickup_c=4n7&tuning=D3-A3-D4" in _said(chapter_page.text)
    query = "?theme=dark&pickup_c=1n&template=reveal&voila-debug=1&%74heme=dark"
    page = requests.get(server.url + CHAPTER + query, timeout=60).text
    assert "\"'pickup_c=1n'\"" in _said(page).replace('\\"', '"')
    assert '"jupyterLabTheme": "light"' in page and "theme-light.css" in page and "pz-skip" in page


def _said(page: str) -> str:
    """The page with its escapes undone: the kernel's view of the query stands in the printed form of its label."""
    return page.replace("\\u0026", "&").replace("\\u0027", "'")


KEPT = (("gate_r%3D3M3%26v%3D1", True), ("a&gate_r=1", False), ("x" * 6001, False))


@pytest.mark.parametrize(("kept", "handed"), KEPT)
def test_ones_own_chain_comes_from_the_cookie_and_from_nowhere_else(server, kept, handed):
    """What the browser keeps is handed on beside the address, and an address cannot pretend."""
    address, cookies = server.url + CHAPTER + "?own=stolen&seat=3", {"piezolab-own": kept}
    page = _said(requests.get(address, cookies=cookies, timeout=60).text)
    assert "stolen" not in page and (f"seat=3&own={kept}" in page if handed else "'seat=3'" in page)


@pytest.mark.parametrize("path", ["voila/tree", "voila/tree/", "voila/tree/sub?classic-tree=true"])
def test_file_list_is_not_for_visitors(server, path):
    answer = requests.get(server.url + path, allow_redirects=False, timeout=20)
    assert answer.status_code == 302 and urljoin(server.url, answer.headers["Location"]) == server.url


def test_notebook_address_leads_to_its_chapter_with_the_chain(server):
    answer = requests.get(
        server.url + "voila/render/01-does-it-move.ipynb?pickup_c=1n", allow_redirects=False, timeout=20
    )
    assert answer.status_code == 302
    assert urljoin(server.url, answer.headers["Location"]) == server.url + CHAPTER + "?pickup_c=1n"


@pytest.mark.parametrize(
    "path",
    [
        "voila/render/Draft.ipynb",
        "voila/render/notes.txt",
        "voila/files/notes.txt",
        "voila/files/01-does-it-move.ipynb",
        "voila/api/contents/",
        "voila/api/contents/notes.txt",
        "voila/api/themes/@jupyterlab/theme-light-extension/index.css",
        "api/contents/notes.txt",
        "api/sessions",
        "api/kernels",
        "api/kernelspecs",
        "api/terminals",
        "files/notes.txt",
        "notebooks/index.ipynb",
        "login",
        "draft",
        "index.ipynb",
        "01-does-it-move.ipynb",
    ],
)
def test_everything_else_is_not_here(server, path):
    answer = requests.get(server.url + path, timeout=20)
    assert answer.status_code == 404
    assert "There is no page at this address." in answer.text


ROUTES = ("", "voila/render/", "voila/files/", "voila/static/", "voila/templates/lab/static/", "voila/tree/")
STEPS = (
    "../outside.txt",
    "../../outside.txt",
    "..%2foutside.txt",
    "%2e%2e/outside.txt",
    "..%5coutside.txt",
    "....//outside.txt",
    "../outside.js",
    "/etc/passwd",
    "%2fetc%2fpasswd",
    "..%00/outside.txt",
    "notes.txt%00.js",
    "./notes.txt",
)


def test_no_route_leaves_its_folder(server, chapter_page):
    base = urlsplit(server.url).path
    static = re.search(r'"(/static/\w+/)own/', chapter_page.text)[1].removeprefix(base)
    folders = [
        static + name for name in ("own/", "voila/", "extensions/", "extensions/anywidget/", "themes/")
    ]
    for route in (*ROUTES, *folders):
        for step in STEPS:
            status, body = raw(server, base + route + step)
            assert status in (302, 400, 403, 404), f"{route}{step} answered {status}"
            assert b"keep out" not in body and b"root:" not in body


def test_static_files_are_only_of_listed_kinds(server, chapter_page):
    own = re.search(r'"(/static/\w+/own/)', chapter_page.text)[1]
    assert raw(server, own + "page.js")[0] == 200
    for name in ("index.html.j2", "error.html", "__pycache__", "", ".", "page.js/"):
        assert raw(server, own + name)[0] == 404


def test_static_files_are_kept_for_a_year_and_their_addresses_carry_a_version(server, chapter_page):
    links = [link for link in own_links(chapter_page.text) if link.startswith("/static/")]
    assert any("plotly" in link for link in links) and any("voila.js" in link for link in links)
    for link in links:
        answer = requests.get(urljoin(server.url, link), timeout=20)
        assert answer.status_code == 200, link
        assert answer.headers["Cache-Control"] == "public, max-age=31536000, immutable"
        assert re.match(r"/static/[0-9a-f]{12}/", link)
        again = requests.get(
            urljoin(server.url, link), headers={"If-None-Match": answer.headers["Etag"]}, timeout=20
        )
        assert (again.status_code, again.content) == (304, b"")


def test_plain_and_compressed_forms_are_the_same_file(server, chapter_page):
    link = next(link for link in own_links(chapter_page.text) if "plotly" in link)
    status, packed = raw(server, link, headers={"Accept-Encoding": "gzip"})
    assert status == 200
    plain = raw(server, link)[1]
    assert gzip.decompress(packed) == plain and len(packed) < 0.4 * len(plain)
    shipped = Path(__file__).parents[2] / "piezolab" / "pages" / "kit" / "static" / link.rsplit("/", 1)[1]
    assert plain == shipped.read_bytes()


def test_head_request_sends_no_body(server, chapter_page):
    link = next(link for link in own_links(chapter_page.text) if "plotly" in link)
    answer = requests.head(urljoin(server.url, link), timeout=20)
    assert answer.status_code == 200 and answer.content == b""


@pytest.mark.parametrize(
    "method, path, status",
    [
        ("GET", "does-it-move", 200),
        ("GET", "", 200),
        ("GET", "nowhere", 404),
        ("GET", "voila/tree", 302),
        ("GET", "api/kernels/aaaaaaaa-bbbb-cccc-dddd-eeeeeeeeeeee", 404),
        ("GET", "api/kernels/aaaaaaaa-bbbb-cccc-dddd-eeeeeeeeeeee/channels", 404),
        ("DELETE", "api/kernels/aaaaaaaa-bbbb-cccc-dddd-eeeeeeeeeeee", 403),
        ("POST", "does-it-move", 403),
        ("PUT", "static/own/page.js", 404),
        ("POST", "leave/aaaaaaaa-bbbb-cccc-dddd-eeeeeeeeeeee", 404),
        ("POST", "voila/api/shutdown/aaaaaaaa-bbbb-cccc-dddd-eeeeeeeeeeee", 204),
    ],
)
def test_every_answer_carries_the_security_headers(server, method, path, status):
    answer = requests.request(method, server.url + path, allow_redirects=False, timeout=60)
    assert answer.status_code == status
    headers = answer.headers
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["X-Frame-Options"] == "SAMEORIGIN"
    assert "Server" not in headers
    policy = dict(part.split(" ", 1) for part in headers["Content-Security-Policy"].split("; "))
    assert policy["frame-ancestors"] == "'self'" and policy["object-src"] == "'none'"
    assert "unsafe" not in policy["script-src"] and "unsafe-eval" not in headers["Content-Security-Policy"]
    allowed = {"'self'", "'none'", "'unsafe-inline'", "data:", "blob:"}
    for name, sources in policy.items():
        assert {source for source in sources.split() if not source.startswith("'nonce-")} <= allowed, name


def test_each_page_has_a_nonce_of_its_own(server):
    nonces = {
        re.search(
            r"'nonce-([\w-]+)'", requests.get(server.url, timeout=60).headers["Content-Security-Policy"]
        )[1]
        for _ in range(2)
    }
    assert len(nonces) == 2 and all(len(nonce) >= 20 for nonce in nonces)


def test_visitor_cookie_is_out_of_reach_of_scripts_and_other_sites(chapter_page):
    lines = chapter_page.raw.headers.getlist("Set-Cookie")
    assert len(lines) == 1 and lines[0].startswith("seat-")
    assert "HttpOnly" in lines[0] and "SameSite=Lax" in lines[0] and "Path=/" in lines[0]


def test_failing_cell_shows_no_traceback(server):
    page = requests.get(server.url + "does-it-break", timeout=60).text
    assert "The chain is kept in the address" in page
    for trace in ("ZeroDivisionError", "Traceback", "secret_word", "site-packages", "--show_tracebacks"):
        assert trace not in page


@pytest.mark.parametrize(
    "query",
    [
        "?x=%00%ff%fe",
        "?<script>alert(1)</script>",
        "?tuning=%22%3E%3Cscript%3Ealert(1)%3C/script%3E",
        "?" + "&".join(f"k{n}=1" for n in range(900)),
        "?=&&&==&%zz",
    ],
)
def test_hostile_query_opens_the_page_and_is_never_markup(server, query):
    status, body = raw(server, urlsplit(server.url).path + CHAPTER + query.replace(" ", "%20"))
    assert status == 200
    assert b"<script>alert" not in body


def test_query_beyond_all_measure_is_refused_with_a_sentence(server):
    status, body = raw(server, "/" + CHAPTER + "?x=" + "1" * QUERY_LIMIT)
    assert status == 414 and b"This link is too long" in body


@pytest.mark.parametrize("host", ["elsewhere.example", "elsewhere.example:80", "127.0.0.1.elsewhere.example"])
def test_name_of_another_host_is_refused_on_every_route(server, host):
    kernel = "0" * 8 + "-0000-0000-0000-" + "0" * 12
    page = requests.get(server.url + CHAPTER, timeout=60).text
    static = re.search(r'src="(/static/[^"]+)"', page)[1]
    assert raw(server, static)[0] == 200
    for path in (
        "/",
        "/" + CHAPTER,
        static,
        "/nowhere",
        "/room-sheet",
        "/voila/tree",
        "/voila/render/index.ipynb",
        f"/api/kernels/{kernel}",
        f"/api/kernels/{kernel}/channels",
    ):
        status, body = raw(server, path, headers={"Host": host})
        assert status == 421 and b"its own address only" in body, path
    for path in (f"/leave/{kernel}", f"/voila/api/shutdown/{kernel}"):
        assert raw(server, path, headers={"Host": host}, method="POST")[0] == 421, path


def test_nonsense_on_the_line_does_not_stop_the_server(server):
    address = urlsplit(server.url)
    for nonsense in (
        b"\x00\xff\r\n\r\n",
        b"GET\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nContent-Length: -1\r\n\r\n",
    ):
        with socket.create_connection((address.hostname, address.port), timeout=60) as line:
            line.sendall(nonsense)
            answer = line.recv(4000)
            assert b"Traceback" not in answer
    assert requests.get(server.url + "nowhere", timeout=20).status_code == 404
