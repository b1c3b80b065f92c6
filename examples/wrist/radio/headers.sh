# The controller's headers are read by clang, which must be told where its own and the C library's are. To be sourced.
headers=$(ls -d /usr/lib/llvm-*/lib/clang/*/include | tail -n 1)
export BINDGEN_EXTRA_CLANG_ARGS="-isystem $headers -isystem /usr/include/newlib"
