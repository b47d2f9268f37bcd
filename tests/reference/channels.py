"""Watches the starter configuration with every channel there is, and reads what arrives. Then tries
mail out against servers with TLS and against ones that refuse, are slow or break off.

    target/channels/venv/bin/python tests/reference/channels.py PROGRAM CONFIGURATION

Called by tests/channels.sh. Everything listens on loopback, at ports that were free.
"""

import asyncio
import email
import hashlib
import hmac
import json
import logging
import os
import re
import signal
import socket
import ssl
import subprocess
import sys
import threading
import time
from email import policy
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from urllib.parse import urlsplit
from xml.etree import ElementTree

import feedparser
import html5lib
import trustme
from aiosmtpd.controller import Controller

SECRETS = {"HOOK_SECRET": "the old one", "HOOK_NEXT": "the new one"}
RECEIVERS = ["editor@guide.example", "deputy@guide.example"]
SECONDS_MAX = 60


class Letters:
    def __init__(self):
        self.taken = []

    async def handle_DATA(self, server, session, envelope):
        self.taken.append((envelope.rcpt_tos, envelope.content))
        return "250 taken"


class Hooks(BaseHTTPRequestHandler):
    taken = []

    def do_POST(self):
        body = self.rfile.read(int(self.headers["Content-Length"]))
        Hooks.taken.append((self.headers, body))
        self.send_response(204)
        self.end_headers()

    def log_message(self, *_):
        pass


def free_port():
    """The controller wants to know its port before it listens."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        return listener.getsockname()[1]


def configure(folder, mail_port, hook_port):
    settings = folder / "rigtide.toml"
    told = folder / "told.json"
    settings.write_text(settings.read_text() + f"""
[[channel]]
id = "post"
kind = "mail"
host = "127.0.0.1"
port = {mail_port}
tls = "none"
from = "Wächter <watch@guide.example>"
to = {json.dumps(RECEIVERS)}
[[channel]]
id = "hook"
kind = "webhook"
url = "http://127.0.0.1:{hook_port}/"
secret_env = "HOOK_SECRET"
next_secret_env = "HOOK_NEXT"
[[channel]]
id = "feed"
kind = "atom"
file = "served/bulletins.xml"
[[channel]]
id = "own"
kind = "command"
run = ["/bin/sh", "-c", 'cat > "$0.part" && mv "$0.part" "$0"', "{told.resolve()}"]
""")
    brief = folder / "briefs/example.toml"
    channels = 'channels = ["post", "hook", "feed", "own"]'
    brief.write_text(brief.read_text().replace('channels = ["terminal"]', channels))
    return told, folder / "served/bulletins.xml"


def read_mail(letters, bulletin):
    assert sorted(to for tos, _ in letters for to in tos) == sorted(RECEIVERS), letters
    assert len({content for _, content in letters}) == 1, "one message for all"
    message = email.message_from_bytes(letters[0][1], policy=policy.default)
    assert not message.defects, message.defects
    assert message["Message-ID"] == f"<{bulletin['id']}@guide.example>"
    assert message["From"].addresses[0].display_name == "Wächter"
    assert message["Subject"] == bulletin["subject"]
    plain = message.get_body(("plain",)).get_content()
    assert plain.split() == bulletin["text"].split()
    page = message.get_body(("html",)).get_content()
    # Stops at the first fault of the HTML Standard's parsing.
    html5lib.HTMLParser(strict=True).parse(page)
    assert not re.search(r"<(img|script|link|iframe|object)\b|\bsrc=|url\(", page), page


def read_hook(headers, body, bulletin):
    assert headers["Rigtide-Bulletin"] == bulletin["id"]
    signed = f"{bulletin['id']}.{headers['Rigtide-Timestamp']}.".encode() + body
    signatures = ["sha256=" + hmac.new(secret.encode(), signed, hashlib.sha256).hexdigest()
                  for secret in SECRETS.values()]
    assert headers["Rigtide-Signature"].split(",") == signatures


def read_feed(path, bulletin):
    feed = feedparser.parse(path.read_bytes())
    assert not feed.bozo and feed.version == "atom10", feed
    (entry,) = feed.entries
    assert entry.title == bulletin["subject"]
    assert entry.updated == entry.published == bulletin["at"]
    assert entry.content[0].type == "text/html"
    assert bulletin["data"]["shown"]["headline"] in entry.content[0].value
    check_rfc_4287(path.read_bytes())


ATOM = "{http://www.w3.org/2005/Atom}"
# RFC 4287, section 4.1: how often each child is allowed. None: as often as one likes.
FEED = {"author": None, "category": None, "contributor": None, "entry": None, "generator": 1, "icon": 1,
        "id": 1, "link": None, "logo": 1, "rights": 1, "subtitle": 1, "title": 1, "updated": 1}
ENTRY = {"author": None, "category": None, "content": 1, "contributor": None, "id": 1, "link": None,
         "published": 1, "rights": 1, "source": 1, "summary": 1, "title": 1, "updated": 1}
NEEDED = ["id", "title", "updated"]


def check_rfc_4287(text):
    """Each MUST of RFC 4287, by its section, that the elements of a feed of bulletins can break."""
    feed = ElementTree.fromstring(text)
    assert feed.tag == ATOM + "feed", "section 4.1.1"
    entries = feed.findall(ATOM + "entry")
    for parent, allowed in [(feed, FEED)] + [(entry, ENTRY) for entry in entries]:
        names = [child.tag.removeprefix(ATOM) for child in parent]
        assert all(child.tag.startswith(ATOM) for child in parent), "no extension is used"
        for name in names:
            most = allowed[name]
            assert most is None or names.count(name) <= most, f"sections 4.1.1 and 4.1.2: {name}"
        for name in NEEDED:
            assert names.count(name) == 1, f"sections 4.1.1 and 4.1.2: {name}"
        check_constructs(parent)
        # Section 4.1.2: without content there is a link to what else it says.
        links = [link.get("rel", "alternate") for link in parent.findall(ATOM + "link")]
        assert parent is feed or "content" in names or "alternate" in links
    # Section 4.1.1: an author of the feed or of every entry.
    authors = [parent.find(ATOM + "author") is not None for parent in entries]
    assert feed.find(ATOM + "author") is not None or all(authors)
    # Section 4.1.1: entries of one id differ in when they were updated.
    versions = [(one.findtext(ATOM + "id"), one.findtext(ATOM + "updated")) for one in entries]
    assert len(set(versions)) == len(versions)


def check_constructs(parent):
    for child in parent:
        name = child.tag.removeprefix(ATOM)
        if name in ("title", "content"):
            # Sections 3.1.1 and 4.1.3.3: text and escaped HTML have no elements.
            assert child.get("type", "text") in ("text", "html") and not len(child)
        elif name in ("updated", "published"):
            # Section 3.3: RFC 3339 with capital T and Z.
            date = r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d+)?(Z|[+-]\d{2}:\d{2})"
            assert re.fullmatch(date, child.text), child.text
        elif name == "author":
            # Section 3.2.1: one name.
            assert len(child.findall(ATOM + "name")) == 1 and child.findtext(ATOM + "name")
        elif name == "id":
            # Section 4.2.6: an absolute IRI.
            assert urlsplit(child.text).scheme and child.text.strip() == child.text
        elif name == "link":
            # Section 4.2.7.1: it has an address.
            assert child.get("href")
        elif name == "category":
            # Section 4.2.2.1: it has a term.
            assert child.get("term")


class Refusing(Letters):
    def __init__(self, answer):
        super().__init__()
        self.answer = answer

    async def handle_RCPT(self, server, session, envelope, address, options):
        return self.answer


class Slow(Letters):
    async def handle_DATA(self, server, session, envelope):
        await asyncio.sleep(20)
        return "250 taken at last"


class Silent(Letters):
    """Has the whole message, and is gone before it says so."""

    async def handle_DATA(self, server, session, envelope):
        server.transport.abort()
        return "250 taken"


def breaks_off(listener):
    """Speaks SMTP up to the middle of a message, and hangs up."""
    while True:
        try:
            connection, _ = listener.accept()
        except OSError:
            return
        with connection, connection.makefile("rb") as lines:
            connection.sendall(b"220 mail.example\r\n")
            for line in lines:
                if line[:4].upper() == b"DATA":
                    connection.sendall(b"354 go on\r\n")
                    lines.readline()
                    break
                connection.sendall(b"250 ok\r\n")


def try_out(program, folder, port, tls="none", authority=None):
    """What `rigtide bulletin --test` says of a mail server."""
    settings = folder / "rigtide.toml"
    before = settings.read_text()
    trusted = f'authority_file = "{authority}"' if authority else ""
    settings.write_text(before + f"""
[[channel]]
id = "tried"
kind = "mail"
host = "127.0.0.1"
port = {port}
tls = "{tls}"
{trusted}
from = "watch@guide.example"
to = ["editor@guide.example"]
timeout_seconds = 2
""")
    try:
        ended = subprocess.run([program, "-C", folder, "bulletin", "--test", "tried", "--json"],
                               capture_output=True, text=True, timeout=30, env=os.environ | SECRETS)
    finally:
        settings.write_text(before)
    assert ended.stdout, ended.stderr
    told = json.loads(ended.stdout)
    assert (ended.returncode == 0) == (told["outcome"] == "taken"), ended
    return told


def served(handler, **how):
    controller = Controller(handler, hostname="127.0.0.1", port=free_port(), **how)
    controller.start()
    return controller


def try_tls(program, folder):
    authority = trustme.CA()
    pem = (folder / "authority.pem").resolve()
    authority.cert_pem.write_to_path(pem)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("127.0.0.1").configure_cert(context)
    for tls, how in [("wrapped", {"ssl_context": context}),
                     ("starttls", {"tls_context": context, "require_starttls": True})]:
        letters = Letters()
        mail = served(letters, **how)
        told = try_out(program, folder, mail.port, tls, pem)
        assert told["outcome"] == "taken" and "250 taken" in told["said"], told
        message = email.message_from_bytes(letters.taken[0][1], policy=policy.default)
        assert message["Message-ID"] == f"<{told['id']}@guide.example>"
        assert message["Subject"].startswith("Test from rigtide")
        assert not message.defects, message.defects
        told = try_out(program, folder, mail.port, tls)
        assert told["outcome"] == "put_off" and "certificate" in told["said"], told
        assert len(letters.taken) == 1, "nothing goes to a server that nobody vouches for"
        mail.stop()
    plain = served(Letters())
    told = try_out(program, folder, plain.port, "starttls", pem)
    assert told["outcome"] == "put_off" and not plain.handler.taken, told
    plain.stop()


def try_faults(program, folder):
    for handler, outcome in [(Refusing("550 no such box"), "refused"),
                             (Refusing("451 try later"), "put_off"),
                             (Slow(), "put_off"), (Silent(), "put_off")]:
        mail = served(handler)
        begun = time.monotonic()
        told = try_out(program, folder, mail.port)
        assert told["outcome"] == outcome, (handler, told)
        assert time.monotonic() - begun < 15, "a slow server holds nothing up"
        mail.stop()
    with socket.create_server(("127.0.0.1", 0)) as listener:
        threading.Thread(target=breaks_off, args=[listener], daemon=True).start()
        told = try_out(program, folder, listener.getsockname()[1])
        assert told["outcome"] == "put_off", told
    told = try_out(program, folder, free_port())
    assert told["outcome"] == "put_off", told


def main():
    program, folder = sys.argv[1], Path(sys.argv[2])
    # What is tried makes servers complain.
    logging.getLogger("mail.log").setLevel(logging.CRITICAL)
    letters = Letters()
    mail_port = free_port()
    mail = Controller(letters, hostname="127.0.0.1", port=mail_port)
    mail.start()
    hooks = HTTPServer(("127.0.0.1", 0), Hooks)
    threading.Thread(target=hooks.serve_forever, daemon=True).start()
    told, feed = configure(folder, mail_port, hooks.server_port)
    watch = subprocess.Popen([program, "-C", folder, "watch"], env=os.environ | SECRETS,
                             stderr=subprocess.DEVNULL)
    try:
        until = time.monotonic() + SECONDS_MAX
        while not (len(letters.taken) == 2 and Hooks.taken and told.exists() and feed.exists()):
            assert watch.poll() is None, f"the daemon ended with {watch.returncode}"
            assert time.monotonic() < until, "not everything arrived"
            time.sleep(0.1)
    finally:
        watch.send_signal(signal.SIGTERM)
        watch.wait(10)
        mail.stop()
        hooks.shutdown()
    ((headers, body),) = Hooks.taken
    bulletin = json.loads(body)
    assert told.read_bytes() == body, "the command reads what the webhook is sent"
    read_mail(letters.taken, bulletin)
    read_hook(headers, body, bulletin)
    read_feed(feed, bulletin)
    print("mail, webhook, command and feed are read as they were meant")
    try_tls(program, folder)
    print("mail goes over TLS to whom an authority vouches for, and to nobody else")
    try_faults(program, folder)
    print("servers that refuse, are slow or break off are told apart")


if __name__ == "__main__":
    main()
