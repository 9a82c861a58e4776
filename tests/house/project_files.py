"""The files of the project: what git would commit, or in an unpacked archive everything."""
import pathlib
import subprocess


def project_files(root):
    """Paths relative to root, sorted; files that lie there and are not ignored."""
    root = pathlib.Path(root)
    if (root / ".git").exists():
        try:
            listed = subprocess.run(
                ["git", "-c", "safe.directory=*", "-C", str(root), "ls-files", "-z", "--cached",
                 "--others", "--exclude-standard"], capture_output=True, check=True).stdout
            names = [pathlib.Path(name) for name in listed.decode().split("\0") if name]
            return sorted(name for name in names if (root / name).is_file())
        except (OSError, subprocess.CalledProcessError):
            pass
    skipped = {".git", "build", "runs", ".cache"}
    return sorted(file.relative_to(root) for file in root.rglob("*")
                  if file.is_file() and not skipped & set(file.relative_to(root).parts))
