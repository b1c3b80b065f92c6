//! The C and C++ face of glidepath. What each function does is said once, in `include/glidepath.h`.
//!
//! # Memory
//! All memory is the caller's. An object of the library lies in memory whose size the header states; its first word
//! tells what it is, so that memory that was never initialised, or holds another object, is refused.
//!
//! # Safety
//! Every exported function is `unsafe` for one reason: it is given pointers. The contract is C's own: a pointer that is
//! not null points to memory as large as its type or the size that goes with it, that the caller may read (and write,
//! where it is not `const`), and that nothing else uses during the call. Whatever can be checked is: null, alignment,
//! sizes, versions, the first word, numbers, ranges. Results are written last and only on success. The
//! dereferences themselves are in [`memory`].
#![cfg_attr(not(any(test, feature = "desk")), no_std)]
#![allow(non_camel_case_types)] // the names are C's
#![allow(clippy::missing_safety_doc)] // said once, above
#![cfg_attr(
    not(test),
    deny(
        clippy::indexing_slicing,
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::panic,
        clippy::unreachable,
        clippy::arithmetic_side_effects,
        clippy::integer_division
    )
)]

pub mod accuracy;
pub mod brief;
pub mod code;
pub mod direction;
pub mod gatt;
pub mod memory;
pub mod monitor;
pub mod number;
pub mod pair;
pub mod review;
pub mod settings;
pub mod snapshot;
pub mod text;
pub mod view;

mod layout {
    //! Sizes, offsets and numbers, against those that C checks too.
    use crate::{
        accuracy::*, brief::*, code::*, direction::*, gatt::*, monitor::*, number::*, pair::*, review::*,
        settings::*, view::*,
    };
    include!(concat!(env!("OUT_DIR"), "/layout.rs"));
}

#[cfg(all(feature = "archive", not(feature = "desk"), not(test)))]
mod never {
    unsafe extern "C" {
        /// Nobody defines it.
        fn gp_a_panic_is_reachable() -> !;
    }

    /// A Rust archive must have one. That nothing reaches it is shown where the archive is made: the linker leaves it
    /// out, and with it the call of what nobody defines.
    #[panic_handler]
    fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
        // SAFETY: what calls it does not link
        unsafe { gp_a_panic_is_reachable() }
    }

    /// Can panic, and is in no header: shows that the proof can fail.
    #[unsafe(no_mangle)]
    extern "C" fn gp_proof_can_fail(number: u32) -> u32 {
        #[allow(clippy::panic, reason = "what it is for")]
        100_u32.checked_div(number).unwrap_or_else(|| panic!())
    }
}
