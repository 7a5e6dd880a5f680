"""Certificates of a throw-away authority, made with the openssl command."""

import subprocess
from pathlib import Path

_CONFIG = """
[ca]
default_ca = own
[own]
database = {0}/index.txt
serial = {0}/serial
new_certs_dir = {0}
default_md = sha256
policy = any
unique_subject = no
[any]
commonName = supplied
[ext]
subjectAltName = {1}
"""


def _openssl(*words: str) -> None:
    done = subprocess.run(["openssl", *words], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


class Authority:
    """`ca.der`, `ca.pem`, and server certificates valid over a period given as YYYYMMDDHHMMSSZ."""

    def __init__(self, directory: Path, name: str) -> None:
        self._dir = directory / name
        self._dir.mkdir()
        (self._dir / "index.txt").touch()
        (self._dir / "serial").write_text("01\n")
        self.pem = self._dir / "ca.pem"
        self.der = self._dir / "ca.der"
        self._key = self._dir / "ca.key"
        curve = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"]
        _openssl(
            *["req", "-x509", *curve, "-keyout", str(self._key), "-out", str(self.pem)],
            *["-days", "3650", "-subj", f"/CN={name}"],
        )
        _openssl("x509", "-in", str(self.pem), "-outform", "DER", "-out", str(self.der))

    def server(self, name: str, start: str = "20200101000000Z", end: str = "20491231000000Z") -> list[str]:
        """mosquitto's lines for a listener with a certificate for `name`."""
        stem = f"{name}-{start}-{end}"
        key, request, pem = (self._dir / f"{stem}.{kind}" for kind in ("key", "csr", "pem"))
        config = self._dir / "ca.cnf"
        config.write_text(_CONFIG.format(self._dir, f"DNS:{name}"))
        curve = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"]
        _openssl("req", "-new", *curve, "-keyout", str(key), "-out", str(request), "-subj", f"/CN={name}")
        _openssl(
            *["ca", "-batch", "-config", str(config), "-extensions", "ext", "-notext"],
            *["-cert", str(self.pem), "-keyfile", str(self._key)],
            *["-in", str(request), "-out", str(pem), "-startdate", start, "-enddate", end],
        )
        return [f"certfile {pem}", f"keyfile {key}"]
