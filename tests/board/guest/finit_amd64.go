package main

const finitModule = 313 // SYS_FINIT_MODULE, which package syscall does not name on amd64
