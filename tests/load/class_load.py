"""Thirty students at once on this machine: memory and CPU of each, response to a moved slider, failures.

Run: python tests/load/class_load.py [students] [seconds]   (needs jupyterhub and configurable-http-proxy)
Starts the course's own JupyterHub, and for every student what a browser would send: a server, a kernel, the code
cells of notebook 05, then slider moves at the pace of a hand (one in two seconds, at random). The response runs
from the sent slider value to the message that redraws the chart; drawing it is the student's own machine's work.
"""

import argparse
import asyncio
import datetime as dt
import json
import os
import platform
import random
import secrets
import socket
import subprocess
import sys
import tempfile
import time
import uuid
from pathlib import Path

import nbformat
import numpy as np
import psutil
from tornado.httpclient import AsyncHTTPClient, HTTPRequest
from tornado.websocket import websocket_connect

COURSE = Path(__file__).resolve().parents[2]
PATIENCE_S = 240


def free_ports(count):
    """Free loopback ports."""
    probes = [socket.socket() for _ in range(count)]
    for probe in probes:
        probe.bind(("127.0.0.1", 0))
    ports = [probe.getsockname()[1] for probe in probes]
    for probe in probes:
        probe.close()
    return ports


class Student:
    """One simulated student: a server, a kernel and the sliders that its notebook has shown."""

    def __init__(self, name, hub, token, cells):
        self.name, self.hub, self.token, self.cells = name, hub, token, cells
        self.sliders, self.ready_s, self.responses_s, self.failures = {}, None, [], []

    async def ask(self, path, method="GET", body=None, base=""):
        """One request to the hub or to this student's server; returns its JSON, or None."""
        request = HTTPRequest(
            f"{self.hub}{base}{path}",
            method,
            headers={"Authorization": f"token {self.token}"},
            body=None if method == "GET" else json.dumps(body or {}),
            request_timeout=PATIENCE_S,
        )
        answer = await AsyncHTTPClient().fetch(request)
        return json.loads(answer.body) if answer.body else None

    async def arrive(self):
        """Start the server and a kernel, and run the notebook."""
        begin = time.perf_counter()
        await self.ask(f"/hub/api/users/{self.name}", "POST")
        await self.ask(f"/hub/api/users/{self.name}/server", "POST")
        while not (await self.ask(f"/hub/api/users/{self.name}"))["servers"].get("", {}).get("ready"):
            await asyncio.sleep(1)
        base = f"/user/{self.name}"
        session = {
            "path": "notebooks/05_compare_the_routes.ipynb",
            "type": "notebook",
            "name": "",
            "kernel": {"name": "python3"},
        }
        kernel = (await self.ask("/api/sessions", "POST", session, base))["kernel"]["id"]
        address = f"{self.hub.replace('http', 'ws')}{base}/api/kernels/{kernel}/channels"
        headers = {"Authorization": f"token {self.token}"}
        self.socket = await websocket_connect(HTTPRequest(address, headers=headers, request_timeout=PATIENCE_S))
        for cell in self.cells:
            await self.run(cell)
        self.ready_s = time.perf_counter() - begin

    async def send(self, kind, content):
        """Send a message; returns its id."""
        name = uuid.uuid4().hex
        header = {"msg_id": name, "msg_type": kind, "username": self.name, "session": "load", "version": "5.3"}
        message = {"header": header, "parent_header": {}, "metadata": {}, "content": content, "channel": "shell"}
        await self.socket.write_message(json.dumps(message))
        return name

    async def read(self):
        """The next message as a dict, buffers left out."""
        text = await asyncio.wait_for(self.socket.read_message(), PATIENCE_S)
        if text is None:
            raise ConnectionError("the server closed the connection")
        if isinstance(text, bytes):  # a message with buffers: their offsets, then the JSON part, then the buffers
            count = int.from_bytes(text[:4], "big")
            ends = [int.from_bytes(text[4 * i : 4 * i + 4], "big") for i in range(1, count + 1)]
            text = text[ends[0] : ends[1] if count > 1 else None]
        return json.loads(text)

    async def run(self, code):
        """Run a cell and remember the sliders that it makes."""
        name = await self.send("execute_request", {"code": code, "silent": False, "store_history": True})
        while True:
            message = await self.read()
            kind, content = message["msg_type"], message["content"]
            if kind == "comm_open":
                state = content["data"].get("state", {})
                if state.get("_model_name") in ("FloatSliderModel", "IntSliderModel"):
                    self.sliders[content["comm_id"]] = state
            if kind == "comm_msg" and content["comm_id"] in self.sliders:
                # A slider gets its first value after it was made: moved from its lower end, small parts would leave a
                # route infeasible, and its prices would rightly redraw nothing.
                self.sliders[content["comm_id"]] |= content["data"].get("state", {})
            if kind == "error":
                self.failures.append(f"{content['ename']}: {content['evalue']}")
            ours = message["parent_header"].get("msg_id") == name
            if ours and kind == "status" and content["execution_state"] == "idle":
                return

    async def move(self):
        """Move one slider by a step; returns the time until the chart is sent [s]."""
        comm, state = random.choice([*self.sliders.items()])
        low, high, now = (float(state[key]) for key in ("min", "max", "value"))
        step = max(float(state["step"]), 1.0 if state["_model_name"] == "IntSliderModel" else (high - low) / 100)
        state["value"] = now + step if now + step <= high else low
        begin = time.perf_counter()
        value = int(state["value"]) if state["_model_name"] == "IntSliderModel" else state["value"]
        content = {"comm_id": comm, "data": {"method": "update", "state": {"value": value}, "buffer_paths": []}}
        name = await self.send("comm_msg", content)
        drawn = None
        while True:
            message = await self.read()
            if message["parent_header"].get("msg_id") != name:
                continue
            if message["msg_type"] == "error":
                self.failures.append(message["content"]["evalue"])
            if message["msg_type"] == "comm_msg":
                if (message["content"]["data"].get("state") or {}).get("news"):
                    drawn = time.perf_counter() - begin
            elif message["msg_type"] == "status" and message["content"]["execution_state"] == "idle":
                return drawn

    async def work(self, seconds):
        """Move sliders for a while."""
        end = time.perf_counter() + seconds
        while time.perf_counter() < end:
            await asyncio.sleep(random.expovariate(0.5))
            taken = await self.move()
            if taken is None:
                self.failures.append("a moved slider redrew nothing")
            else:
                self.responses_s.append(taken)

    async def whole_class(self, seconds, gate):
        """Arrive, wait for the others, work; whatever goes wrong is kept."""
        try:
            await self.arrive()
        except Exception as error:  # a failure of any kind is what is counted here
            self.failures.append(f"arriving: {error!r}")
        await gate.wait()
        if self.ready_s is not None:
            try:
                await self.work(seconds)
            except Exception as error:
                self.failures.append(f"working: {error!r}")


def used(hub_process):
    """Of every student's (server, kernel): memory, shared pages counted by their share [MB], and CPU so far [s]: an
    array (students, 2, 2)."""
    found = []
    for server in psutil.Process(hub_process.pid).children():
        if "jupyterhub.singleuser" in server.cmdline():
            families = [server], server.children(recursive=True)
            found.append([[measure(family) for measure in (memory_mb, cpu_s)] for family in families])
    return np.array(found).reshape(-1, 2, 2)


def memory_mb(family):
    """Memory of processes [MB]."""
    return sum(process.memory_full_info().pss for process in family) / 2**20


def cpu_s(family):
    """CPU of processes [s]."""
    return sum(sum(process.cpu_times()[:2]) for process in family)


async def wait_for(address):
    """Return once the hub answers."""
    for _ in range(2 * PATIENCE_S):  # it plans a long job first
        try:
            await AsyncHTTPClient().fetch(f"{address}/hub/health")
            return
        except OSError:
            await asyncio.sleep(0.5)
        except Exception:  # it answers, but not yet well
            await asyncio.sleep(0.5)
    raise RuntimeError("the hub did not start")


async def hold_class(hub, process, token, students, seconds):
    """Let the class arrive and work; prints what was measured."""
    AsyncHTTPClient.configure(None, max_clients=4 * students)
    await wait_for(hub)
    notebook = nbformat.read(COURSE / "notebooks/05_compare_the_routes.ipynb", as_version=4)
    cells = [cell.source for cell in notebook.cells if cell.cell_type == "code"]
    everyone = [Student(f"student{i:02d}", hub, token, cells) for i in range(1, students + 1)]
    gate = asyncio.Event()
    tasks = [asyncio.create_task(student.whole_class(seconds, gate)) for student in everyone]
    while any(s.ready_s is None and not s.failures for s in everyone):
        await asyncio.sleep(0.5)
    opened = used(process)
    gate.set()
    await asyncio.sleep(seconds / 2)
    working = used(process)
    await asyncio.gather(*tasks)
    report(everyone, opened, working)


def report(everyone, opened, working):
    """Print the figures of the class: what each had `used` when all had opened the notebook, and amid the work."""
    responses = 1000 * np.array([r for s in everyone for r in s.responses_s])
    ready = [s.ready_s for s in everyone if s.ready_s is not None]
    failures = [f"{s.name}: {f}" for s in everyone for f in s.failures]
    print(f"{platform.machine()}, {os.cpu_count()} cores, {dt.date.today()}: {len(everyone)} students")
    print(f"ready after {np.median(ready):.0f} s (median), {max(ready):.0f} s (last), all arriving at once")
    for when, found in (("when all had it open", opened), ("amid the work", working)):
        if len(found):
            (server_mb, server_s), (kernel_mb, kernel_s) = np.median(found, axis=0)
            each_mb = found[..., 0].sum(axis=1)
            print(f"{when}: memory of a student {np.median(each_mb):.0f} MB (median), {each_mb.max():.0f} MB (most)")
            print(f"  server {server_mb:.0f} MB, {server_s:.1f} s of CPU; kernel {kernel_mb:.0f} MB, {kernel_s:.1f} s")
            print(f"  all {each_mb.sum() / 1024:.1f} GB")
    print(
        f"{responses.size} slider moves: {np.median(responses):.0f} ms median, "
        f"{np.percentile(responses, 95):.0f} ms 95th percentile, {responses.max():.0f} ms slowest"
    )
    print(f"{len(failures)} failures", *failures[:10], sep="\n  ")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("students", type=int, nargs="?", default=30)
    parser.add_argument("-v", action="store_true", help="print the log of the hub")
    parser.add_argument("seconds", type=float, nargs="?", default=60)
    chosen = parser.parse_args()
    token, (public, api, hub_port) = secrets.token_hex(16), free_ports(3)
    with tempfile.TemporaryDirectory() as folder:
        config = Path(folder, "load_config.py")
        config.write_text(
            f"name = {str(COURSE / 'notebooks/instructor/jupyterhub_config.py')!r}\n"
            "exec(compile(open(name).read(), name, 'exec'), {**globals(), '__file__': name})\n"
            f"c.JupyterHub.services = [{{'name': 'load', 'api_token': {token!r}}}]\n"
            "c.JupyterHub.load_roles = [{'name': 'load', 'scopes': "
            "['admin:users', 'admin:servers', 'access:servers'], 'services': ['load']}]\n"
            f"c.JupyterHub.bind_url = 'http://127.0.0.1:{public}'\n"
            f"c.JupyterHub.hub_port = {hub_port}\n"
            f"c.ConfigurableHTTPProxy.api_url = 'http://127.0.0.1:{api}'\n"
            f"c.Spawner.args += {['--allow-root'] if os.geteuid() == 0 else []}\n"
        )
        private = {"CLASS_PASSWORD": secrets.token_hex(12), "STUDENTS": str(Path(folder, "students"))}
        with Path(folder, "hub.log").open("w") as log:
            hub = subprocess.Popen(
                [sys.executable, "-m", "jupyterhub", "-f", str(config)],
                cwd=folder,
                env={**os.environ, **private},
                stdout=log,
                stderr=subprocess.STDOUT,
            )
        try:
            address = f"http://127.0.0.1:{public}"
            asyncio.run(hold_class(address, hub, token, chosen.students, chosen.seconds))
        finally:
            hub.terminate()
            hub.wait(timeout=60)
            if chosen.v:
                print(Path(folder, "hub.log").read_text())


if __name__ == "__main__":
    main()
