#!/usr/bin/python3
"""A plug on a real broker: what a plug with a meter says and does, written apart from our driver.

    plug_peer.py --port PORT [--host 127.0.0.1] [--device bench/plug_1] [--id plug-1] [--every 0.1] [--kept]

It says `ready` on stdout once the broker has its topics. Topics, all below --device:
    availability   online, or offline as its last will; kept by the broker
    reading        {"id", "time", "power", "voltage", "current", "on"} every --every seconds; kept by the broker with --kept
    state          ON or OFF after each order and each query
    order          ON, OFF: what it obeys            query   anything: it says its state again

Control, one line each on stdin; every line is answered `done` on stdout:
    power WATTS    what it draws while it is on      id NAME          calls itself so from now on (a swap)
    age SECONDS    dates its readings back           freeze / thaw    stops and resumes its readings
    deaf / hear    ignores orders and queries        mute / speak     obeys, but does not say its state
    noise          sends readings that are none      clean            sends good ones again
    say TEXT       publishes TEXT as one reading     switch on|off    somebody presses its button
    drop           the connection breaks without a word (the broker tells its last will); `back` connects again
    end            leaves and ends
Ends by itself when stdin ends.
"""
import argparse
import json
import socket
import sys
import threading
import time

import paho.mqtt.client as paho


class Plug:
    def __init__(self, options):
        self.options = options
        self.lock = threading.Lock()
        self.name, self.watts, self.age = options.id, 40.0, 0.0
        self.is_on = self.is_frozen = self.is_deaf = self.is_mute = self.is_noisy = False
        self.ready = threading.Event()
        self.client = None
        self.connect()
        threading.Thread(target=self.tell, daemon=True).start()

    def topic(self, word):
        return f"{self.options.device}/{word}"

    def connect(self):
        self.ready.clear()
        client = paho.Client(client_id="", clean_session=True)
        client.will_set(self.topic("availability"), "offline", qos=1, retain=True)
        client.on_connect = lambda c, *_: c.subscribe([(self.topic("order"), 1), (self.topic("query"), 1)])
        client.on_subscribe = lambda c, *_: (c.publish(self.topic("availability"), "online", qos=1, retain=True), self.ready.set())
        client.on_message = self.hear
        client.reconnect_delay_set(1, 1)
        client.connect(self.options.host, self.options.port, keepalive=5)
        client.loop_start()
        self.client = client
        self.ready.wait(10)

    def drop(self):
        # The socket ends under the library, and the library is kept from coming back.
        self.client.on_connect = None
        sock = self.client.socket()
        self.client._thread_terminate = True
        if sock:
            sock.shutdown(socket.SHUT_RDWR)
        self.client = None

    def hear(self, client, _, message):
        with self.lock:
            if self.is_deaf:
                return
            if message.topic == self.topic("order"):
                if message.payload not in (b"ON", b"OFF"):
                    return
                self.is_on = message.payload == b"ON"
            if not self.is_mute:
                client.publish(self.topic("state"), "ON" if self.is_on else "OFF", qos=1)

    def reading(self):
        if self.is_noisy:
            return "{\"power\": }"
        watts = self.watts if self.is_on else 0.0
        return json.dumps({"id": self.name, "time": time.time() - self.age, "power": watts, "voltage": 230.0, "current": watts / 230.0, "on": self.is_on})

    def tell(self):
        while True:
            time.sleep(self.options.every)
            with self.lock:
                if self.client and not self.is_frozen:
                    self.client.publish(self.topic("reading"), self.reading(), qos=0, retain=self.options.kept)

    def obey(self, line):
        word, _, rest = line.strip().partition(" ")
        with self.lock:
            if word == "power":
                self.watts = float(rest)
            elif word == "age":
                self.age = float(rest)
            elif word == "id":
                self.name = rest
            elif word in ("freeze", "thaw"):
                self.is_frozen = word == "freeze"
            elif word in ("deaf", "hear"):
                self.is_deaf = word == "deaf"
            elif word in ("mute", "speak"):
                self.is_mute = word == "mute"
            elif word in ("noise", "clean"):
                self.is_noisy = word == "noise"
            elif word == "say" and self.client:
                self.client.publish(self.topic("reading"), rest, qos=0, retain=self.options.kept)
            elif word == "switch":
                self.is_on = rest == "on"
                if not self.is_mute and self.client:
                    self.client.publish(self.topic("state"), "ON" if self.is_on else "OFF", qos=1)
            elif word == "drop" and self.client:
                self.drop()
            elif word == "end":
                return False
            elif word not in ("back", "say"):
                print("unknown", flush=True)
                return True
        if word == "back" and self.client is None:
            self.connect()
        print("done", flush=True)
        return True


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--host", default="127.0.0.1")
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--device", default="bench/plug_1")
    parser.add_argument("--id", default="plug-1")
    parser.add_argument("--every", type=float, default=0.1)
    parser.add_argument("--kept", action="store_true")
    plug = Plug(parser.parse_args())
    print("ready", flush=True)
    for line in sys.stdin:
        if not plug.obey(line):
            break
    if plug.client:
        plug.client.publish(plug.topic("availability"), "offline", qos=1, retain=True).wait_for_publish(2)
        plug.client.disconnect()


main()
