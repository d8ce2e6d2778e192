"""JupyterHub for one class on one machine: a shared course that nobody can change, and a folder for each student.

Start it from the course's folder, with the class's password and the folder for the students' work:

    CLASS_PASSWORD=... STUDENTS=/srv/students jupyterhub -f notebooks/instructor/jupyterhub_config.py

Let another account own the course's folder, so that the hub's account, and with it every student, can only read
it. All students run under the account that starts the hub: right for a class that trusts each other on a machine of
its own. Where students must not reach each other's files, give each a system account and set JupyterHub's PAM
authenticator with SystemdSpawner instead, and leave out JUPYTER_RUNTIME_DIR and the kernels' transport, which lean on
one account; the hook, the folders and the limits below stay the same.
"""

import os
import resource
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from jupyterhub.spawner import SimpleLocalProcessSpawner
from traitlets import Integer

COURSE = Path(__file__).resolve().parents[2]
STUDENTS = Path(os.environ.get("STUDENTS", "students")).resolve()

c = get_config()  # noqa: F821


class LimitedSpawner(SimpleLocalProcessSpawner):
    """A student's server whose processes may each hold only so much memory: the operating system keeps the limit."""

    memory_mb = Integer(2048, config=True, help="Data that one process of a student may hold [MB].")

    def make_preexec_fn(self, name):
        """Set the limit in the new process before it becomes the student's server."""
        set_up, size = super().make_preexec_fn(name), self.memory_mb * 2**20

        def limited():
            set_up()
            resource.setrlimit(resource.RLIMIT_DATA, (size, size))

        return limited


# Free ports are found by trying and letting go: of thirty students that arrive together some were given the same one,
# and one of them met the other's server, or a kernel that died. So kernels are asked through files of the account, in a
# folder with a short name, as such files need; and servers get ports below those that systems give away by themselves.
FIRST_PORT = 21_000
FILES = tempfile.mkdtemp(prefix="class-")


def give_course(spawner):
    """A port of one's own; new notebooks in the student's folder, never over work that is there; the shared data."""
    spawner.port = FIRST_PORT + spawner.user.id
    home = STUDENTS / spawner.user.name
    (home / "notebooks").mkdir(parents=True, exist_ok=True)
    for source in sorted(COURSE.glob("notebooks/*.ipynb")):
        if not (home / "notebooks" / source.name).exists():
            shutil.copy(source, home / "notebooks")
    for shared, link in ((COURSE / "data_demo", home / "data_demo"), (COURSE / "notebooks/images", home / "images")):
        if not link.exists():
            link.symlink_to(shared, target_is_directory=True)


# What one student's kernel compiles or measures serves all. A long job, planned before anybody arrives, compiles what
# sliders need: thirty kernels that each did so at once would keep a small machine busy for minutes.
KEPT = {"NUMBA_CACHE_DIR": str(STUDENTS / ".kept/compiled"), "POURPRINT_CACHE": str(STUDENTS / ".kept/studies")}
LONG_JOB = ["data_demo/rover_kit.toml", "--quantity", "80", "--batch", "4", "--start", "2026-12-01"]

STUDENTS.mkdir(parents=True, exist_ok=True)
subprocess.run(
    [sys.executable, "-m", "pourprint", "compare", *LONG_JOB, "--rates", "data_demo/rates.toml"],
    cwd=COURSE, env={**os.environ, **KEPT}, stdout=subprocess.DEVNULL, check=True,
)  # fmt: skip
c.Spawner.environment = {**KEPT, "JUPYTER_RUNTIME_DIR": lambda spawner: f"{FILES}/{spawner.user.name}"}
c.JupyterHub.authenticator_class = "shared-password"
c.SharedPasswordAuthenticator.user_password = os.environ["CLASS_PASSWORD"]
c.Authenticator.allow_all = True  # everyone who knows the class's password
c.JupyterHub.spawner_class = LimitedSpawner
c.Spawner.cmd = [sys.executable, "-m", "jupyterhub.singleuser"]  # of this environment, which holds the course
c.Spawner.pre_spawn_hook = give_course
c.SimpleLocalProcessSpawner.home_dir_template = str(STUDENTS / "{username}")
c.Spawner.notebook_dir = str(STUDENTS / "{username}")
c.Spawner.default_url = "/lab/tree/notebooks/00_start_here.ipynb"
c.Spawner.start_timeout = 180  # thirty students may arrive in the same minute
c.Spawner.http_timeout = 120
c.Spawner.args = [
    "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
    "--LanguageServerManager.autodetect=False",  # looking for language servers starts npm once a student
    # Where the environment has them, a student's server needs neither: 0.3 s and 13 MB each.
    "--ServerApp.jpserver_extensions=voila.server_extension=False",
    "--ServerApp.jpserver_extensions=jupyterlab_jupytext=False",
    "--KernelManager.transport=ipc",
    "--MappingKernelManager.cull_idle_timeout=5400",  # a class lasts 90 minutes
    "--MappingKernelManager.cull_interval=300",
]
c.JupyterHub.concurrent_spawn_limit = 40  # nobody of a class that arrives together is sent away; they wait
c.JupyterHub.active_server_limit = 40
