"""Program to instructions, and the kernel that executes them.

Importing the package names the compiled kernels' cache folder before anything is compiled.
"""

from server.scan import cache_folder as cache_folder
