/* Test aid: preloaded into a child process, makes the n-th write or sync (and all that follow, if
   asked) fail, as a dying or full disk would. FAIL_AT: number of the call; FAIL_WITH: errno, or 0
   to be killed before the call; FAIL_ON: 1 = go on failing. Standard streams are left alone. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <signal.h>
#include <stdlib.h>
#include <sys/types.h>
#include <unistd.h>

static int refuse(int fd) {
    static long calls;
    const char *at = getenv("FAIL_AT"), *with = getenv("FAIL_WITH"), *on = getenv("FAIL_ON");
    if (fd <= 2 || !at || !with) return 0;
    calls++;
    if (calls == atol(at) || (on && calls > atol(at))) {
        if (!(errno = atoi(with))) kill(getpid(), SIGKILL);
        return 1;
    }
    return 0;
}
#define NEXT(type, name, ...) ((type(*)(__VA_ARGS__))dlsym(RTLD_NEXT, #name))
ssize_t pwrite(int fd, const void *b, size_t n, off_t o) { return refuse(fd) ? -1 : NEXT(ssize_t, pwrite, int, const void *, size_t, off_t)(fd, b, n, o); }
ssize_t pwrite64(int fd, const void *b, size_t n, off64_t o) { return refuse(fd) ? -1 : NEXT(ssize_t, pwrite64, int, const void *, size_t, off64_t)(fd, b, n, o); }
ssize_t write(int fd, const void *b, size_t n) { return refuse(fd) ? -1 : NEXT(ssize_t, write, int, const void *, size_t)(fd, b, n); }
int fsync(int fd) { return refuse(fd) ? -1 : NEXT(int, fsync, int)(fd); }
int fdatasync(int fd) { return refuse(fd) ? -1 : NEXT(int, fdatasync, int)(fd); }
int ftruncate(int fd, off_t n) { return refuse(fd) ? -1 : NEXT(int, ftruncate, int, off_t)(fd, n); }
int ftruncate64(int fd, off64_t n) { return refuse(fd) ? -1 : NEXT(int, ftruncate64, int, off64_t)(fd, n); }
