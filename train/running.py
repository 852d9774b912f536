"""A program that goes on running and is asked again and again, over its standard input and output.

Takes: a command, the line that ends each answer, what to tell it first. Gives: the lines of an answer. One that dies, or does not
answer in time, is begun anew, and that answer is `None`.
"""
import subprocess
import threading

PATIENCE_S = 30


class Running:
    def __init__(self, command, last, first=""):
        self.command, self.last, self.first = command, last, first
        self.begin()

    def begin(self):
        self.process = subprocess.Popen(self.command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
            text=True, bufsize=1)
        self.process.stdin.write(self.first)

    def ask(self, told):
        watch = threading.Timer(PATIENCE_S, self.process.kill)
        watch.start()
        lines, line = [], ""
        try:
            self.process.stdin.write(told)
            self.process.stdin.flush()
            while (line := self.process.stdout.readline()) and line != self.last:
                lines.append(line)
        except BrokenPipeError:
            line = ""
        finally:
            watch.cancel()
        if line:
            return lines
        self.process.kill()
        self.process.wait()
        self.begin()
        return None
