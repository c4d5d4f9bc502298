"""Where messages arrive, for the tests: real servers on free ports of the loopback, each ended with its block."""
import asyncio
import email
import email.policy
import http.server
import json
import logging
import pathlib
import socket
import ssl
import subprocess
import threading
import time

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, SMTP

from bench_process import free_port, wait_for

logging.getLogger("mail.log").setLevel(logging.CRITICAL)  # broken handshakes are what some tests want


class SinkController(Controller):
    def factory(self):
        return DroppingSmtp(self.handler, **self.SMTP_kwargs)


class DroppingSmtp(SMTP):
    """Closes the line in the middle of a mail where its sink says so."""

    async def smtp_DATA(self, arg):
        if self.event_handler.drops != "in the mail":
            return await super().smtp_DATA(arg)
        await self.push("354 go on")
        await self._reader.read(10)
        self.transport.abort()


class SmtpSink:
    """An SMTP server (aiosmtpd). `messages` are parsed e-mails, also of what was taken and not answered; may refuse, hang (before
    its answer, or at the goodbye), drop the line ("in the mail", "after the mail"), ask for a password or speak TLS."""

    def __init__(self, certificate=None, key=None, password=None, is_implicit_tls=False):
        self.messages = []
        self.refuses = False
        self.hangs = 0.0
        self.hangs_at_quit = 0.0
        self.drops = ""
        self.port = free_port()
        options = {}
        if certificate:
            context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            context.load_cert_chain(certificate, key)
            options = {"ssl_context": context} if is_implicit_tls else {"tls_context": context, "require_starttls": True}
        if password is not None:
            options |= {"auth_required": True, "auth_require_tls": False, "authenticator": lambda server, session, envelope, mechanism, data: AuthResult(success=data.password == password.encode())}
        self.controller = SinkController(self, hostname="127.0.0.1", port=self.port, **options)

    async def handle_QUIT(self, server, session, envelope):
        if self.hangs_at_quit:
            await asyncio.sleep(self.hangs_at_quit)
        return "221 good night"

    async def handle_DATA(self, server, session, envelope):
        if self.hangs:
            await asyncio.sleep(self.hangs)
        if self.refuses:
            return "451 not now"
        self.messages.append(email.message_from_bytes(envelope.content, policy=email.policy.default))
        if self.drops == "after the mail":
            server.transport.abort()
        return "250 taken"

    def __enter__(self):
        self.controller.start()
        return self

    def __exit__(self, *_):
        self.controller.stop()


def text_of(message):
    return message.get_body(("plain",)).get_content()


def pictures_of(message):
    return [part.get_payload(decode=True) for part in message.iter_attachments() if part.get_content_type() == "image/png"]


class WebhookSink:
    """An HTTP or HTTPS server that keeps what is POSTed: (path, headers, body). May answer with another status, late, with a
    redirect or without end."""

    def __init__(self, status=200, certificate=None, key=None):
        self.requests = []
        self.status = status
        self.hangs = 0.0
        self.redirects_to = ""
        self.answers_without_end = False
        sink = self

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_POST(self):
                body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
                if sink.hangs:
                    time.sleep(sink.hangs)
                sink.requests.append((self.path, dict(self.headers), body))
                self.send_response(sink.status)
                if sink.redirects_to:
                    self.send_header("Location", sink.redirects_to)
                self.end_headers()
                while sink.answers_without_end:
                    self.wfile.write(b"x" * 65536)

            def log_message(self, *_):
                pass

        class Server(http.server.ThreadingHTTPServer):
            def handle_error(self, request, client_address):
                pass  # who hangs up early is what some tests want

        self.server = Server(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        self.port = self.server.server_address[1]
        self.url = f"{'https' if certificate else 'http'}://127.0.0.1:{self.port}/hook"
        if certificate:
            context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            context.load_cert_chain(certificate, key)
            self.server.socket = context.wrap_socket(self.server.socket, server_side=True, do_handshake_on_connect=False)

    def json(self):
        return [json.loads(body) for _, _, body in self.requests if body]

    def __enter__(self):
        threading.Thread(target=self.server.serve_forever, daemon=True).start()
        return self

    def __exit__(self, *_):
        self.server.shutdown()
        self.server.server_close()


def is_listening(port):
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


class Program:
    """A server program of the system, with its files in a folder of its own."""

    def __init__(self, folder):
        self.folder = pathlib.Path(folder)
        self.folder.mkdir(parents=True, exist_ok=True)
        self.port = free_port()

    def start(self, *command):
        self.log = open(self.folder / "log", "wb")
        self.process = subprocess.Popen([str(c) for c in command], stdout=self.log, stderr=self.log)
        wait_for(f"{command[0]} to listen", lambda: is_listening(self.port), 15)

    def __exit__(self, *_):
        self.process.terminate()
        self.process.wait(10)
        self.log.close()


class MosquittoBroker(Program):
    """Mosquitto with one subscriber that keeps every message of `topic`. With a certificate it speaks TLS on `tls_port` too, and
    asks for the user and password there."""

    def __init__(self, folder, topic, certificate=None, key=None, user="bench", password="right"):
        super().__init__(folder)
        self.topic = topic
        self.tls_port = free_port()
        self.secured = (certificate, key, user, password) if certificate else None

    def __enter__(self):
        config = self.folder / "mosquitto.conf"
        # Started by root it would become somebody who cannot read its key.
        text = f"user root\nper_listener_settings true\npersistence false\nlistener {self.port} 127.0.0.1\nallow_anonymous true\n"
        if self.secured:
            certificate, key, user, password = self.secured
            passwords = self.folder / "passwords"
            passwords.write_text("")
            subprocess.run(["mosquitto_passwd", "-b", passwords, user, password], check=True, capture_output=True)
            text += f"listener {self.tls_port} 127.0.0.1\nallow_anonymous false\npassword_file {passwords}\ncertfile {certificate}\nkeyfile {key}\n"
        config.write_text(text)
        self.start("/usr/sbin/mosquitto", "-c", config)
        self.heard = open(self.folder / "heard", "wb")
        self.subscriber = subprocess.Popen(["mosquitto_sub", "-h", "127.0.0.1", "-p", str(self.port), "-t", self.topic, "-q", "1"], stdout=self.heard, stderr=subprocess.DEVNULL)
        # It is subscribed once what is published is heard.
        def is_heard():
            subprocess.run(["mosquitto_pub", "-h", "127.0.0.1", "-p", str(self.port), "-t", self.topic, "-m", "{}"], check=True)
            return (self.folder / "heard").stat().st_size > 0
        wait_for("the subscriber", is_heard, 10)
        return self

    def messages(self):
        lines = (self.folder / "heard").read_text().splitlines()
        return [json.loads(line) for line in lines if line != "{}"]

    def __exit__(self, *_):
        self.subscriber.terminate()
        self.subscriber.wait(5)
        self.heard.close()
        super().__exit__()


class Alertmanager(Program):
    """Alertmanager that tells nobody: alerts() is what stands."""

    def __enter__(self):
        config = self.folder / "alertmanager.yml"
        config.write_text("route:\n  receiver: nobody\nreceivers:\n  - name: nobody\n")
        self.url = f"http://127.0.0.1:{self.port}"
        self.start("prometheus-alertmanager", f"--config.file={config}", f"--storage.path={self.folder}/data", f"--web.listen-address=127.0.0.1:{self.port}", "--cluster.listen-address=")
        return self

    def alerts(self):
        import urllib.request
        with urllib.request.urlopen(self.url + "/api/v2/alerts?active=true", timeout=5) as answer:
            return json.load(answer)


def make_certificate(folder, name="localhost"):
    """A certificate of our own for the loopback; returns (certificate, key)."""
    folder = pathlib.Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    certificate, key = folder / f"{name}.pem", folder / f"{name}.key"
    subprocess.run(["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", f"/CN={name}", "-addext", f"subjectAltName=DNS:{name},IP:127.0.0.1",
                    "-keyout", str(key), "-out", str(certificate)], check=True, capture_output=True)
    return certificate, key
