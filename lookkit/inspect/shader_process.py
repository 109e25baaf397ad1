"""A process of its own in which OpenColorIO writes the shaders of a config, and GL runs them.

It is started by `lookkit.inspect.shaders`, takes one job as JSON on standard input and prints one
JSON line before and after each view. What does not end, or takes too much memory, ends with this
process, at the view that was named last.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import sys
import time
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]

_VERTEX = """#version 400
in vec2 corner;
void main() { gl_Position = vec4(corner, 0.0, 1.0); }
"""
_FRAGMENT = """#version 400
uniform sampler2D picture;
out vec4 colour;
{shader}
void main() {{ colour = OCIOMain(texelFetch(picture, ivec2(gl_FragCoord.xy), 0)); }}
"""
_LANGUAGES = ("GLSL_4_0", "GLSL_ES_3_0")


def described(processor: Any, language: str) -> Any:
    """Return the text and the tables of a processor's shader, without 1D textures."""
    import PyOpenColorIO as ocio

    made = ocio.GpuShaderDesc.CreateShaderDesc(
        language=getattr(ocio, f"GPU_LANGUAGE_{language}"), functionName="OCIOMain"
    )
    # WebGL and OpenGL ES have none.
    made.setAllowTexture1D(False)
    processor.getDefaultGPUProcessor().extractGpuShaderInfo(made)
    return made


def texture_bytes(made: Any) -> int:
    """Return how many bytes the tables of a shader take as 32-bit floats."""
    import PyOpenColorIO as ocio

    count = 0
    for one in made.getTextures():
        red = one.channel == ocio.GpuShaderDesc.TEXTURE_RED_CHANNEL
        count += int(one.width) * int(one.height) * (1 if red else 3)
    for one in made.get3DTextures():
        count += 3 * int(one.edgeLen) ** 3
    return 4 * count


class Screen:
    """A picture of floats that shaders draw into, in whatever GL there is without a window."""

    def __init__(self, pixels: Floats) -> None:
        import moderngl

        library: Any = moderngl
        self.gl = library.create_context(standalone=True, backend="egl", require=400)
        self.size = (len(pixels), 1)
        rows = np.concatenate([pixels, np.ones((len(pixels), 1), dtype=np.float32)], axis=1)
        self.picture = self.gl.texture(self.size, 4, rows.tobytes(), dtype="f4")
        self.target = self.gl.framebuffer([self.gl.texture(self.size, 4, dtype="f4")])
        corners = np.array([-1, -1, 3, -1, -1, 3], dtype=np.float32)
        self.corners = self.gl.buffer(corners.tobytes())

    @property
    def name(self) -> str:
        """What draws."""
        return str(self.gl.info["GL_RENDERER"])

    def run(self, made: Any) -> Floats:
        """Return the picture as a shader makes it, shape (n, 3)."""
        import PyOpenColorIO as ocio

        nearest = (self.gl.NEAREST, self.gl.NEAREST)
        smooth = (self.gl.LINEAR, self.gl.LINEAR)
        fragment = _FRAGMENT.format(shader=made.getShaderText())
        program = self.gl.program(vertex_shader=_VERTEX, fragment_shader=fragment)
        held: list[tuple[str, Any]] = [("picture", self.picture)]
        for one in made.getTextures():
            red = one.channel == ocio.GpuShaderDesc.TEXTURE_RED_CHANNEL
            data = np.asarray(one.getValues(), dtype=np.float32).tobytes()
            flat = self.gl.texture(
                (one.width, one.height), 1 if red else 3, data, dtype="f4", alignment=1
            )
            flat.filter = nearest if one.interpolation == ocio.INTERP_NEAREST else smooth
            flat.repeat_x = flat.repeat_y = False
            held.append((one.samplerName, flat))
        for one in made.get3DTextures():
            data = np.asarray(one.getValues(), dtype=np.float32).tobytes()
            cube = self.gl.texture3d((one.edgeLen,) * 3, 3, data, dtype="f4", alignment=1)
            near = one.interpolation in (ocio.INTERP_NEAREST, ocio.INTERP_TETRAHEDRAL)
            cube.filter = nearest if near else smooth
            cube.repeat_x = cube.repeat_y = cube.repeat_z = False
            held.append((one.samplerName, cube))
        for place, (name, texture) in enumerate(held):
            texture.use(place)
            if name in program:
                program[name].value = place
        self.target.use()
        self.gl.viewport = (0, 0, *self.size)
        drawing = self.gl.vertex_array(program, [(self.corners, "2f", "corner")])
        drawing.render(self.gl.TRIANGLES, vertices=3)
        drawn = np.frombuffer(self.target.read(components=4, dtype="f4"), dtype=np.float32)
        for _, texture in held[1:]:
            texture.release()
        drawing.release()
        program.release()
        return drawn.reshape(-1, 4)[:, :3]


def _processor(config: Any, view: dict[str, str]) -> Any:
    import PyOpenColorIO as ocio

    way = (view["space"], view["display"], view["view"])
    return config.getProcessor(*way, ocio.TRANSFORM_DIR_FORWARD)


def _peak() -> int:
    """Return the most memory that this process had, in bytes."""
    try:
        import resource
    except ImportError:
        return 0
    kilo = 1 if sys.platform == "darwin" else 1024
    return int(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss) * kilo


def _bounded(memory: int) -> None:
    """Let this process take so many bytes more than it has."""
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        with open("/proc/self/statm", encoding="ascii") as file:
            has = int(file.read().split()[0]) * resource.getpagesize()
        resource.setrlimit(resource.RLIMIT_AS, (has + memory, has + memory))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _within(seconds: float) -> None:
    """End this process when it has computed for so long; 0 takes the limit away."""
    with contextlib.suppress(AttributeError, ValueError):
        signal.signal(signal.SIGVTALRM, signal.SIG_DFL)
        signal.setitimer(signal.ITIMER_VIRTUAL, seconds)


def main() -> None:
    """Do the job on standard input."""
    job = json.load(sys.stdin)
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)

    def tell(**what: Any) -> None:
        print(json.dumps(what), file=answers, flush=True)

    from lookkit.ocio import library

    ocio = library()
    ocio.SetLoggingLevel(ocio.LOGGING_LEVEL_NONE)
    config = ocio.Config.CreateFromFile(job["path"])
    screen = None
    if job["run"]:
        try:
            screen = Screen(np.load(job["pixels"]).astype(np.float32))
        except ImportError:
            return tell(absent="moderngl is not installed: lookkit[verify]")
        except Exception as error:
            return tell(absent=f"no GL without a window here ({error})")
        tell(renderer=screen.name)
    else:
        _bounded(job["memory"])
    for index, view in enumerate(job["views"]):
        tell(view=index)
        processor = _processor(config, view)
        if screen is not None:
            np.save(view["result"], screen.run(described(processor, _LANGUAGES[0])))
            tell(drawn=index)
            continue
        _within(job["seconds"])
        start, had = time.process_time(), _peak()
        made = [described(processor, language) for language in _LANGUAGES]
        took = time.process_time() - start
        _within(0.0)
        size = max(texture_bytes(one) for one in made)
        tell(done=index, seconds=took / len(made), memory=_peak() - had, textures=size)
    return None


if __name__ == "__main__":
    main()
