"""In the guest: runs what is asked over the second serial port and gives back what came of it.

One line of JSON each way: {"run": "shell words"} or {"read": "file"} down, {"code": 0, "said": ""}
up.
"""

import json
import os
import subprocess
import termios
import tty
from pathlib import Path


def read(pattern):
    """The text of the one file of that pattern, without the cost of a shell."""
    found = list(Path("/").glob(pattern.lstrip("/")))
    return found[0].read_text() if found else ""


port = os.open("/dev/ttyS1", os.O_RDWR | os.O_NOCTTY)
tty.setraw(port)
speed = termios.tcgetattr(port)
speed[4] = speed[5] = termios.B115200
termios.tcsetattr(port, termios.TCSANOW, speed)
boot = Path("/proc/sys/kernel/random/boot_id").read_text().strip()
os.write(port, json.dumps({"hello": boot}).encode() + b"\n")
rest = b""
while True:
    rest += os.read(port, 4096)
    *lines, rest = rest.split(b"\n")
    for line in lines:
        try:
            asked = json.loads(line)
        except ValueError:
            continue
        if "read" in asked:
            answer = {"id": asked["id"], "code": 0, "said": read(asked["read"])}
        else:
            done = subprocess.run(["/bin/sh", "-c", asked["run"]], capture_output=True, text=True)
            answer = {"id": asked["id"], "code": done.returncode, "said": done.stdout + done.stderr}
        os.write(port, json.dumps(answer).encode() + b"\n")
