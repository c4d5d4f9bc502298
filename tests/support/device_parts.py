"""What devices that are Python programs share: an expression for what they measure, and the port over which they are told their faults."""
import ast
import json
import math
import socket
import threading


def arithmetic(text, **names):
    """A value of an expression of numbers, names and a few functions; nothing else is evaluated."""
    allowed = {"sin": math.sin, "cos": math.cos, "floor": math.floor, "abs": abs, "min": min, "max": max, "pi": math.pi, **names}
    kinds = (ast.Expression, ast.BinOp, ast.UnaryOp, ast.Constant, ast.Name, ast.Load, ast.Call, ast.operator, ast.unaryop)
    tree = ast.parse(text, mode="eval")
    for node in ast.walk(tree):
        if not isinstance(node, kinds) or (isinstance(node, ast.Name) and node.id not in allowed):
            raise ValueError("not an expression of numbers: " + text)
    return eval(compile(tree, "values", "eval"), {"__builtins__": {}}, allowed)


def serve_control(port, obey):
    """Takes one JSON object a line on 127.0.0.1 (0: a free port) and answers with what obey(order) gives. The port."""
    listener = socket.create_server(("127.0.0.1", port))

    def talk(client):
        with client, client.makefile("rw", encoding="utf-8", newline="\n") as lines:
            for line in lines:
                try:
                    answer = obey(json.loads(line))
                except Exception as why:  # whatever was wrong with the order, the one who gave it must hear of it
                    answer = {"ok": False, "why": str(why)}
                lines.write(json.dumps(answer) + "\n")
                lines.flush()

    def accept():
        while True:
            client, _ = listener.accept()
            threading.Thread(target=talk, args=(client,), daemon=True).start()

    threading.Thread(target=accept, daemon=True).start()
    return listener.getsockname()[1]
