"""What a failed set-up says: the output of venv or pip as a plain sentence and what to do."""

from __future__ import annotations

NETWORK_SIGNS = (
    "newconnectionerror",
    "nameresolutionerror",
    "name resolution",
    "getaddrinfo failed",
    "network is unreachable",
    "connecttimeouterror",
    "connection broken",
    "max retries exceeded",
    "proxyerror",
    "read timed out",
)


def is_network_trouble(output: str) -> bool:
    """Tell whether pip's output says that the package index was not reached."""
    return any(sign in output.lower() for sign in NETWORK_SIGNS)


def explain_installing(output: str) -> str:
    """Turn the output of a failed installation into a plain sentence and what to do."""
    if "CERTIFICATE_VERIFY_FAILED" in output:
        return (
            "The package index was reached, but its certificate is not trusted here; nothing was "
            "installed. Mend this computer's certificates or clock, then start again."
        )
    if is_network_trouble(output):
        return (
            "There is no network, or the package index cannot be reached; nothing was installed. "
            "Connect this computer to the network, then start again."
        )
    if "no space left" in output.lower():
        return "The disk is full, so the set-up was stopped. Make room, then start again."
    errors = [line for line in output.splitlines() if line.lower().startswith("error")]
    reason = errors[-1].partition(":")[2].strip().rstrip(".") if errors else "no reason was given"
    return f"The set-up failed ({reason}). The next start makes the environment anew."


def explain_creation(output: str, version: tuple[int, int]) -> str:
    """Turn the output of a failed `python -m venv` into a plain sentence and what to do."""
    if "ensurepip" in output or "No module named venv" in output:
        exact = "python{}.{}-venv".format(*version)
        return (
            "This Python cannot make environments, because a part of it is not installed; nothing "
            f"was left behind. On Debian and its kin: sudo apt install python3-venv (or {exact} "
            "for this very Python), then start again."
        )
    if "No space left" in output:
        return "The disk is full; nothing was left behind. Make room, then start again."
    lines = output.strip().splitlines() or ["no reason was given"]
    return f"Python could not make the environment ({lines[-1]}); nothing was left behind."
