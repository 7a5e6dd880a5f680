"""`sootline mirror` as people run it, beside a writer."""

import signal
import subprocess
import sys
import time

import pytest

from tests.mirror.test_mirror import assert_mirrored, deliver
from tests.store.making import day_packs

MIRROR = (sys.executable, "-m", "sootline", "mirror")


def test_it_follows_a_writer_through_an_outage_until_told_to_stop(store, engine):
    packs = list(day_packs(1, every=20))
    deliver(store, packs[:200])
    with subprocess.Popen([*MIRROR, engine.url, "--data", store.folder], stderr=subprocess.PIPE, text=True) as running:
        assert running.stderr is not None
        engine.kill()
        time.sleep(1)
        deliver(store, packs[200:400])
        engine.start()
        deliver(store, packs[400:])
        subprocess.run([*MIRROR, engine.url, "--data", store.folder, "--once", "--name", "second"], check=True)
        running.send_signal(signal.SIGTERM)
        assert "lines sent to" in running.stderr.read()
    assert running.returncode == 0
    subprocess.run([*MIRROR, engine.url, "--data", store.folder, "--once"], check=True)
    assert_mirrored(store, engine)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["http://127.0.0.1:9", "--data", "typo"], "there is no store in typo"),
        (["http://127.0.0.1:9", "--data", "{store}", "--token-file", "none"], "none: cannot be used: No such file"),
    ],
)
def test_what_cannot_work_is_said(store, arguments, said):
    arguments = [text.format(store=store.folder) for text in arguments]
    ended = subprocess.run([*MIRROR, *arguments], capture_output=True, text=True, check=False)
    assert ended.returncode == 2 and said in ended.stderr
