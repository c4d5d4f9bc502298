#!/usr/bin/python3
"""Every route against the real thing: aiosmtpd, a web server, Mosquitto, Alertmanager, a program."""
import hashlib
import hmac
import json
import os
import pathlib
import socket
import subprocess
import sys
import threading
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "support"))
from bench_process import free_port, named_options  # noqa: E402
from sinks import Alertmanager, make_certificate, MosquittoBroker, pictures_of, SmtpSink, text_of, WebhookSink  # noqa: E402


def config(folder, name, routes):
    """Writes a configuration with these routes: {name: lines}."""
    text = "[notify]\n[[notify.person]]\nname = \"Ada\"\nroutes = [" + ", ".join(f'"{n}"' for n in routes) + "]\n"
    for route, lines in routes.items():
        text += f'[[notify.route]]\nname = "{route}"\n' + "\n".join(lines) + "\n"
    file = folder / f"{name}.toml"
    file.write_text(text)
    return file


def send(program, file, seconds):
    began = time.monotonic()
    answer = subprocess.run([program, file, str(seconds)], capture_output=True, text=True, timeout=60)
    lines = [json.loads(line) for line in answer.stdout.splitlines()]
    return lines, answer, time.monotonic() - began


def smtp(port, *more, scheme="smtp"):
    return ['kind = "smtp"', f'url = "{scheme}://127.0.0.1:{port}"', 'from = "bench@example.org"', 'to = "ada@example.org"', *more]


def all_routes_take_it(program, folder):
    secret = folder / "hook.secret"
    secret.write_text("a secret\n")
    secret.chmod(0o600)
    kept = folder / "kept.json"
    keeper = folder / "keeper"
    keeper.write_text(f"#!/bin/sh\ncat >'{kept}'\n")
    keeper.chmod(0o755)
    with SmtpSink() as mail, WebhookSink() as hook, MosquittoBroker(folder / "mqtt", "shop/bench") as broker, Alertmanager(folder / "alertmanager") as manager:
        file = config(folder, "all", {
            "mail": smtp(mail.port, 'tls = "none"'),
            "hook": ['kind = "webhook"', f'url = "{hook.url}"', 'secret_file = "hook.secret"'],
            "mqtt": ['kind = "mqtt"', 'host = "127.0.0.1"', f"port = {broker.port}", 'topic = "shop/bench"'],
            "manager": ['kind = "alertmanager"', f'url = "{manager.url}"'],
            "program": ['kind = "command"', 'program = ["keeper"]'],
        })
        lines, answer, _ = send(program, file, 15)
        assert answer.returncode == 0, answer.stderr
        assert sorted(l["route"] for l in lines if l.get("is_delivered")) == ["hook", "mail", "manager", "mqtt", "program"], lines
        message = mail.messages[0]
        assert message["Subject"].startswith("SLEEP: Brindlecombe 35, bench 1: OFF, proven (Prüfung)"), message["Subject"]
        assert message["Bcc"] is None, "a line break in a subject makes no header"
        assert message["Message-ID"] == "<test-incident-3-mail@example.org>" and "incident-3" in message["References"], message.items()
        assert message["Importance"] == "high" and message["Auto-Submitted"] == "auto-generated"
        assert "Room 15.2 °C." in text_of(message) and "\n.\n" in text_of(message), text_of(message)
        assert pictures_of(message)[0].startswith(b"\x89PNG")
        (path, headers, body), = hook.requests
        assert headers["Idempotency-Key"] == "test-incident-3-hook", headers
        assert headers["X-Steadyglow-Signature"] == "sha256=" + hmac.new(b"a secret", body, hashlib.sha256).hexdigest()
        assert json.loads(body)["facts"]["incident"] == 3
        assert broker.messages()[0]["id"] == "test-incident-3-mqtt"
        alert, = manager.alerts()
        assert alert["labels"]["incident"] == "3" and alert["labels"]["severity"] == "high", alert
        assert json.loads(kept.read_text())["advice"] == "SLEEP"


def tls_is_real(program, folder):
    certificate, key = make_certificate(folder / "ours")
    stranger, _ = make_certificate(folder / "strangers")
    with SmtpSink(certificate, key) as starttls, SmtpSink(certificate, key, is_implicit_tls=True) as implicit, SmtpSink() as plain:
        routes = {
            "starttls": smtp(starttls.port, f'ca_file = "{certificate}"'),
            "implicit": smtp(implicit.port, f'ca_file = "{certificate}"', scheme="smtps"),
            "stranger": smtp(starttls.port, f'ca_file = "{stranger}"'),
            "without": smtp(plain.port),
        }
        lines, answer, _ = send(program, config(folder, "tls", routes), 5)
        taken = {l["route"] for l in lines if l.get("is_delivered")}
        assert taken == {"starttls", "implicit"}, (lines, answer.stderr)
        assert not plain.messages, "a server without TLS gets nothing when TLS is required"


def passwords_are_asked_for(program, folder):
    good, bad = folder / "good.password", folder / "bad.password"
    for file, text in ((good, "right"), (bad, "wrong")):
        file.write_text(text + "\n")
        file.chmod(0o600)
    certificate, key = make_certificate(folder / "auth")
    with SmtpSink(certificate, key, password="right") as mail:
        routes = {name: smtp(mail.port, f'ca_file = "{certificate}"', 'user = "bench"', f'password_file = "{name}.password"') for name in ("good", "bad")}
        lines, answer, _ = send(program, config(folder, "auth", routes), 5)
        assert {l["route"] for l in lines if l.get("is_delivered")} == {"good"}, (lines, answer.stderr)
    bad.chmod(0o644)
    _, answer, _ = send(program, folder / "auth.toml", 5)
    assert answer.returncode == 78 and "can be read by others" in answer.stderr, answer.stderr


def a_hung_server_delays_no_other(program, folder):
    with SmtpSink() as mail, WebhookSink() as hook, socket.create_server(("127.0.0.1", 0)) as mute:
        mail.hangs = 60.0
        routes = {
            "hung": smtp(mail.port, 'tls = "none"'),
            "mute": ['kind = "webhook"', f'url = "http://127.0.0.1:{mute.getsockname()[1]}/"'],
            "silent": ['kind = "mqtt"', 'host = "127.0.0.1"', f"port = {mute.getsockname()[1]}", 'topic = "t"'],
            "hook": ['kind = "webhook"', f'url = "{hook.url}"'],
        }
        lines, answer, seconds = send(program, config(folder, "hung", routes), 3)
        first = next(l for l in lines if l.get("is_delivered"))
        assert first["route"] == "hook" and first["seconds"] < 2.0, lines
        assert lines[-1]["stop_took"] < 2.0, f"{lines[-1]['stop_took']:.1f} s to stop while three peers hang"
        print(f"hung peers: the webhook took it after {first['seconds'] * 1000:.0f} ms; stopping took {lines[-1]['stop_took']:.2f} s")


def what_is_refused_is_tried_again_and_comes_once(program, folder):
    with SmtpSink() as mail:
        mail.refuses = True
        threading.Timer(1.2, lambda: setattr(mail, "refuses", False)).start()
        lines, _, _ = send(program, config(folder, "again", {"mail": smtp(mail.port, 'tls = "none"')}), 8)
        assert lines[0]["is_delivered"] is False and "451" in lines[0]["error"], lines
        assert any(l.get("is_delivered") for l in lines), lines
        assert len(mail.messages) == 1


def mistakes_have_a_place_and_a_hint(program, folder):
    bad = folder / "bad.toml"
    bad.write_text('[notify]\n[[notify.route]]\nname = "a"\nkind = "pigeon"\n[[notify.route]]\nname = "b"\nkind = "smtp"\nurl = "smtp://mail.example.org:25"\ntls = "none"\n'
                   'from = "x"\nto = "ada@example.org"\n[[notify.route]]\nname = "c"\nkind = "command"\nprogram = ["nowhere"]\n[[notify.person]]\nname = "Ada"\nroutes = ["d"]\n')
    _, answer, _ = send(program, bad, 1)
    assert answer.returncode == 78
    for wanted in ("bad.toml:4:8: error:", "without TLS only to this machine itself", "`x` is no mail address", "is no program that can be run", "there is no route `d`"):
        assert wanted in answer.stderr, (wanted, answer.stderr)


def a_program_that_never_ends_is_ended(program, folder):
    sleeper = folder / "sleeper"
    sleeper.write_text("#!/bin/sh\ncat >/dev/null\nsleep 300 & wait\n")
    sleeper.chmod(0o755)
    lines, _, seconds = send(program, config(folder, "sleeper", {"sleeper": ['kind = "command"', 'program = ["sleeper"]']}), 1)
    assert not any(l.get("is_delivered") for l in lines) and seconds < 4.0, (lines, seconds)
    assert subprocess.run(["pgrep", "-f", str(sleeper)], capture_output=True).stdout == b"", "it and what it started are gone"


def main():
    options = named_options("program", "folder")
    folder = pathlib.Path(options.folder).resolve()
    folder.mkdir(parents=True, exist_ok=True)
    for check in (all_routes_take_it, tls_is_real, passwords_are_asked_for, a_hung_server_delays_no_other, what_is_refused_is_tried_again_and_comes_once, mistakes_have_a_place_and_a_hint,
                  a_program_that_never_ends_is_ended):
        check(options.program, folder)
        print(check.__name__, "ok", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
