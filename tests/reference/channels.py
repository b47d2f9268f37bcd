"""Watches the starter configuration with every channel there is, and reads what arrives.

    target/channels/venv/bin/python tests/reference/channels.py PROGRAM CONFIGURATION

Called by tests/channels.sh. Everything listens on loopback, at ports that were free.
"""

import email
import hashlib
import hmac
import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from email import policy
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import feedparser
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
    assert "<!DOCTYPE html>" in message.get_body(("html",)).get_content()


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
    assert entry.content[0].value.split() == bulletin["text"].split()


def main():
    program, folder = sys.argv[1], Path(sys.argv[2])
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


if __name__ == "__main__":
    main()
