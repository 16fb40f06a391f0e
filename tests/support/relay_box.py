#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""A relay box on a pseudo-terminal, written from the description of its dialect alone. It holds its last state, whoever
dies. Arguments: the path that shall lead to the port, the path of its log, the number of its lights.

Commands end with CR LF: "LAMP n 1" and "LAMP n 0" (n from 0), answered by "LAMP n SET"; "HELLO" is answered by "BOX
READY"; anything else by "WHAT". Every command that switches is written to the log as "NS 0 box LIGHT OLD NEW set", NS
being CLOCK_MONOTONIC.

It is told what to do by lines on its stdin, each answered by one line on its stdout:
  reply ok | none | wrong | damaged | late MS      what becomes of the answers from here on
  silent        reads nothing at all, as with a pulled RS-232 plug; "listen" ends it
  babble        random bytes without end, in front of every answer too; "quiet" ends it
  falls MS      drops all lights when nothing came for so long, as a box with a watchdog does; 0 ends it
  unplug        the port is gone; "plug" brings it back, the lights are as they were
  lights        answers with a row of 0 and 1
  heard         answers with all commands so far, '|' between them"""
import os
import pathlib
import pty
import random
import select
import sys
import termios
import time
import tty

LINK, LOG, COUNT = pathlib.Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])


class Box:
    def __init__(self):
        self.lights = [0] * COUNT
        self.heard = []
        self.reply, self.late_ms = "ok", 0
        self.listening, self.babbling, self.falls_ms = True, False, 0
        self.pending = b""
        self.due = []  # answers: (when, bytes)
        self.spoken_to = time.monotonic()
        self.random = random.Random(5)
        self.main = self.port = -1
        self.plug()

    def plug(self):
        self.main, self.port = pty.openpty()
        tty.setraw(self.port, termios.TCSANOW)
        os.set_blocking(self.main, False)
        fresh = LINK.with_suffix(".new")
        fresh.symlink_to(os.ttyname(self.port))
        fresh.replace(LINK)

    def unplug(self):
        LINK.unlink()
        os.close(self.port)
        os.close(self.main)
        self.main = self.port = -1
        self.pending, self.due = b"", []

    def switch(self, light, state):
        old, self.lights[light] = self.lights[light], state
        with open(LOG, "a", encoding="ascii") as log:
            log.write(f"{time.monotonic_ns()} 0 box {light} {old} {state} set\n")

    def carry_out(self, command):
        self.heard.append(command)
        words = command.split(" ")
        if command == "HELLO":
            return "BOX READY"
        if len(words) == 3 and words[0] == "LAMP" and words[1] in [str(n) for n in range(COUNT)] and words[2] in ("0", "1"):
            self.switch(int(words[1]), int(words[2]))
            return f"LAMP {words[1]} SET"
        return "WHAT"

    def take(self, data):
        self.pending += data
        self.spoken_to = time.monotonic()
        while b"\r\n" in self.pending:
            line, self.pending = self.pending.split(b"\r\n", 1)
            answer = (self.carry_out(line.decode("latin-1")) + "\r\n").encode("ascii")
            if self.reply == "none":
                continue
            if self.reply == "wrong":
                answer = b"LAMP 9 SET\r\n"
            if self.reply == "damaged":
                answer = answer[:2] + b"\xff\x00" + answer[4:]
            if self.babbling:
                answer = self.random.randbytes(16) + answer
            self.due.append((time.monotonic() + self.late_ms / 1000, answer))

    def say(self, data):
        try:
            os.write(self.main, data)
        except BlockingIOError:
            pass  # nobody reads: what does not fit is lost

    def turn(self):
        now = time.monotonic()
        if self.main >= 0:
            for when, answer in [entry for entry in self.due if entry[0] <= now]:
                self.due.remove((when, answer))
                self.say(answer)
            if self.babbling:
                self.say(self.random.randbytes(64))
        if self.falls_ms and now - self.spoken_to > self.falls_ms / 1000:
            for light, state in enumerate(self.lights):
                if state:
                    self.switch(light, 0)

    def obey(self, line):
        word, *rest = line.split()
        if word == "reply":
            self.reply, self.late_ms = ("ok", int(rest[1])) if rest[0] == "late" else (rest[0], 0)
        elif word in ("silent", "listen"):
            self.listening = word == "listen"
        elif word in ("babble", "quiet"):
            self.babbling = word == "babble"
        elif word == "falls":
            self.falls_ms, self.spoken_to = int(rest[0]), time.monotonic()
        elif word in ("plug", "unplug"):
            getattr(self, word)()
        elif word == "lights":
            return "".join(str(state) for state in self.lights)
        elif word == "heard":
            return "|".join(self.heard)
        else:
            return "unknown"
        return "done"


def main():
    box = Box()
    print("ready", flush=True)
    orders = b""
    while True:
        watched = [0] + ([box.main] if box.main >= 0 and box.listening else [])
        ready, _, _ = select.select(watched, [], [], 0.002 if box.due or box.babbling or box.falls_ms else 1.0)
        if box.main in ready:
            box.take(os.read(box.main, 4096))
        if 0 in ready:
            data = os.read(0, 4096)
            if not data:
                return
            orders += data
            while b"\n" in orders:
                order, orders = orders.split(b"\n", 1)
                print(box.obey(order.decode("ascii")), flush=True)
        box.turn()


main()
