extern crate std;
