"""Wires with faults, between a meter and who reads it: a TCP connection and a serial line. Modes:
ok, cut (no connection, no port), mute (answers are lost), late (answers come `late_s` later), half (answers are cut in two, the rest is
lost), noise (bytes that nobody sent stand before and behind answers, and now and then one of an answer is another)."""
import os
import pathlib
import random
import select
import socket
import threading
import time
import tty


class Faulty:
    """What comes from the meter, as it arrives."""

    def __init__(self, seed):
        self.mode, self.late_s, self.random = "ok", 0.3, random.Random(seed)

    def pass_on(self, data, send):
        mode = self.mode
        if mode == "mute":
            return
        if mode == "late":
            threading.Timer(self.late_s, send, (data,)).start()
            return
        if mode == "half" and self.random.random() < 0.5:
            data = data[:len(data) // 2]
        if mode == "noise":
            noise = bytes(self.random.randrange(128, 256) for _ in range(self.random.randrange(4)))
            body = bytearray(data)
            if self.random.random() < 0.3 and body:
                body[self.random.randrange(len(body))] ^= 1 << self.random.randrange(8)
            data = noise + bytes(body) + (noise if self.random.random() < 0.5 else b"")
        send(data)


class TcpWire(Faulty):
    def __init__(self, port, upstream, seed):
        super().__init__(seed)
        self.upstream, self.pairs, self.lock = upstream, [], threading.Lock()
        self.listener = socket.create_server(("127.0.0.1", port))
        threading.Thread(target=self.accept, daemon=True).start()

    def accept(self):
        while True:
            near, _ = self.listener.accept()
            if self.mode == "cut":
                near.close()
                continue
            far = socket.create_connection(("127.0.0.1", self.upstream))
            with self.lock:
                self.pairs.append((near, far))
            threading.Thread(target=self.carry, args=(near, far, False), daemon=True).start()
            threading.Thread(target=self.carry, args=(far, near, True), daemon=True).start()

    def carry(self, source, sink, is_answer):
        def send(data):
            try:
                sink.sendall(data)
            except OSError:
                pass
        try:
            while data := source.recv(4096):
                self.pass_on(data, send) if is_answer else send(data)
        except OSError:
            pass
        for end in (source, sink):
            try:
                end.shutdown(socket.SHUT_RDWR)
            except OSError:
                pass

    def set(self, mode):
        self.mode = mode
        if mode == "cut":
            with self.lock:
                pairs, self.pairs = self.pairs, []
            for pair in pairs:
                for end in pair:
                    try:
                        end.shutdown(socket.SHUT_RDWR)
                    except OSError:
                        pass


class SerialWire(Faulty):
    """`link` is the reader's end, `device` the meter's."""

    def __init__(self, link, seed):
        super().__init__(seed)
        self.link, self.lock = pathlib.Path(link), threading.Lock()
        self.far, slave = os.openpty()
        tty.setraw(slave)
        self.device, self.kept = os.ttyname(slave), slave
        self.near = None
        self.plug()
        threading.Thread(target=self.carry, daemon=True).start()

    def plug(self):
        near, slave = os.openpty()
        tty.setraw(slave)
        new = self.link.with_suffix(".new")
        new.symlink_to(os.ttyname(slave))
        os.replace(new, self.link)
        with self.lock:
            self.near, self.near_slave = near, slave

    def unplug(self):
        with self.lock:
            near, slave, self.near = self.near, self.near_slave, None
            self.link.unlink(missing_ok=True)
            os.close(slave)
            os.close(near)

    def send(self, data):
        with self.lock:
            if self.near is not None:
                try:
                    os.write(self.near, data)
                except OSError:
                    pass

    def carry(self):
        while True:
            near = self.near
            try:
                ready, _, _ = select.select([self.far] + ([near] if near is not None else []), [], [], 0.02)
                if self.far in ready:
                    # A whole answer of the meter, as good as always: its bytes come in one write or two.
                    time.sleep(0.002)
                    self.pass_on(os.read(self.far, 4096), self.send)
                if near in ready:
                    with self.lock:
                        data = os.read(near, 4096) if near == self.near else b""
                    if data:
                        os.write(self.far, data)
            except (OSError, ValueError):
                time.sleep(0.01)

    def set(self, mode):
        if mode == "cut" and self.near is not None:
            self.unplug()
        if mode != "cut" and self.near is None:
            self.plug()
        self.mode = mode
