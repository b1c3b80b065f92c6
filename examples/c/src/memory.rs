//! Every pointer that comes from C is checked and followed here.

use crate::code::*;
use core::ffi::c_void;

/// An object in the caller's memory.
#[repr(C)]
pub struct Slot<T> {
    tag: Tag,
    value: T,
}

/// What an object is: its kind, with the version and its size in it, and how many readings it keeps.
#[repr(C)]
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Tag {
    kind: u32,
    readings: u32,
}

/// A type that may lie in the caller's memory.
pub trait Object: Sized {
    /// Four letters.
    const KIND: u32;
    /// How many readings it keeps, if that is part of its type.
    const READINGS: u32 = 0;
}

const fn tag<T: Object>() -> Tag {
    tag_of::<T>(GP_VERSION)
}

const fn tag_of<T: Object>(version: u32) -> Tag {
    #[expect(clippy::cast_possible_truncation, reason = "some KB")]
    let size = size_of::<T>() as u32;
    Tag { kind: T::KIND ^ version.rotate_left(24) ^ size.rotate_left(8), readings: T::READINGS }
}

/// Whether an object fits into as many bytes, and they are not many more.
#[must_use]
pub const fn fits<T: Object>(bytes: usize) -> bool {
    let size = size_of::<Slot<T>>();
    let spare = size.saturating_add(512) >> 3; // the library may grow a little, and the header stay
    bytes.is_multiple_of(8)
        && align_of::<Slot<T>>() <= 8
        && size <= bytes
        && bytes.saturating_sub(size) <= spare
}

fn aligned<T>(pointer: *const T) -> Result<(), gp_code> {
    if pointer.is_null() {
        Err(GP_ERROR_NULL)
    } else if pointer.is_aligned() {
        Ok(())
    } else {
        Err(GP_ERROR_ALIGNMENT)
    }
}

/// Where an object may be written.
///
/// # Safety
/// `memory` is null or has `size` bytes of the caller's.
pub unsafe fn place<T: Object>(memory: *mut c_void, size: usize) -> Result<*mut Slot<T>, gp_code> {
    let slot = memory.cast::<Slot<T>>();
    aligned(slot)?;
    if size < size_of::<Slot<T>>() {
        return Err(GP_ERROR_SIZE);
    }
    Ok(slot)
}

/// Writes an object.
///
/// # Safety
/// `slot` is from [`place`].
pub unsafe fn put<T: Object>(slot: *mut Slot<T>, value: T) {
    // SAFETY: the caller's memory, large enough and aligned
    unsafe {
        (&raw mut (*slot).value).write(value);
        (&raw mut (*slot).tag).write(tag::<T>());
    }
}

/// An object that was initialised.
///
/// # Safety
/// `memory` is null or memory of an object's size, which nothing else uses meanwhile.
pub unsafe fn object<'a, T: Object>(memory: *mut c_void) -> Result<&'a mut T, gp_code> {
    let slot = memory.cast::<Slot<T>>();
    aligned(slot)?;
    // SAFETY: the tag lies first, whatever the memory holds; the rest is touched only if the tag is right
    unsafe {
        if (&raw const (*slot).tag).read() != tag::<T>() {
            return Err(GP_ERROR_NOT_READY);
        }
        Ok(&mut (*slot).value)
    }
}

/// How many readings the object says that it keeps.
///
/// # Safety
/// As [`object`].
pub unsafe fn readings_of(memory: *const c_void) -> Result<u32, gp_code> {
    let slot = memory.cast::<Tag>();
    aligned(slot)?;
    // SAFETY: as in `object`
    Ok(unsafe { slot.read() }.readings)
}

/// Where a result of known size goes.
pub fn result<T>(to: *mut T, size: usize) -> Result<*mut T, gp_code> {
    aligned(to)?;
    if size == size_of::<T>() { Ok(to) } else { Err(GP_ERROR_SIZE) }
}

/// Where a number goes.
pub fn number<T>(to: *mut T) -> Result<*mut T, gp_code> {
    result(to, size_of::<T>())
}

/// Bytes, or items, that the caller gives.
///
/// # Safety
/// `from` is null or has `count` items.
pub unsafe fn items<'a, T>(from: *const T, count: usize) -> Result<&'a [T], gp_code> {
    aligned(from)?;
    if count.checked_mul(size_of::<T>()).is_none_or(|bytes| bytes > isize::MAX.unsigned_abs()) {
        return Err(GP_ERROR_SIZE);
    }
    // SAFETY: not null, aligned, of a possible size; the rest is the caller's word
    Ok(unsafe { core::slice::from_raw_parts(from, count) })
}

/// Room for bytes or items, which C may have left unwritten.
///
/// # Safety
/// As [`items`], and nothing else uses it meanwhile.
pub unsafe fn room<'a, T>(to: *mut T, count: usize) -> Result<&'a mut [core::mem::MaybeUninit<T>], gp_code> {
    aligned(to)?;
    if count.checked_mul(size_of::<T>()).is_none_or(|bytes| bytes > isize::MAX.unsigned_abs()) {
        return Err(GP_ERROR_SIZE);
    }
    // SAFETY: as in `items`
    Ok(unsafe { core::slice::from_raw_parts_mut(to.cast(), count) })
}

/// Bytes to write into, zeroed, as C may never have written there.
///
/// # Safety
/// As [`room`].
pub unsafe fn cleared<'a>(to: *mut u8, count: usize) -> Result<&'a mut [u8], gp_code> {
    // SAFETY: the caller's
    let places = unsafe { room(to, count)? };
    for place in &mut *places {
        place.write(0);
    }
    // SAFETY: all of it was written just now
    Ok(unsafe { core::slice::from_raw_parts_mut(places.as_mut_ptr().cast::<u8>(), count) })
}

/// A pointer that may be followed.
pub fn aligned_ref<T>(pointer: *const T) -> Result<*const T, gp_code> {
    aligned(pointer)?;
    Ok(pointer)
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Apple(#[expect(dead_code, reason = "for its size")] u32);
    struct Pear(#[expect(dead_code, reason = "for its size")] u32);
    impl Object for Apple {
        const KIND: u32 = u32::from_le_bytes(*b"appl");
    }
    impl Object for Pear {
        const KIND: u32 = u32::from_le_bytes(*b"pear");
    }

    #[test]
    fn kind_version_and_size_are_told_apart() {
        assert!(tag::<Apple>() != tag::<Pear>());
        assert!(tag_of::<Apple>(1) != tag_of::<Apple>(2));
        struct Large(#[expect(dead_code, reason = "for its size")] [u32; 2]);
        impl Object for Large {
            const KIND: u32 = Apple::KIND;
        }
        assert!(tag::<Apple>() != tag::<Large>());
        // SAFETY: memory of its size, initialised
        unsafe {
            let mut slot = Slot { tag: tag::<Apple>(), value: Apple(1) };
            let memory = core::ptr::from_mut(&mut slot).cast();
            assert!(object::<Apple>(memory).is_ok());
            assert_eq!(object::<Pear>(memory).err(), Some(GP_ERROR_NOT_READY));
        }
    }
}
