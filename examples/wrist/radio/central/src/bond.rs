//! Bonds, to the host and back.

use trouble_host::prelude::{
    AddrKind, BdAddr, BondInformation, IdentityResolvingKey, LongTermKey, SecurityLevel,
};
use trouble_host::{Address, Identity};
use wrist_collector::trust::{Bond, Security};

/// A bond's identity address.
#[must_use]
pub fn address_of(bond: &Bond) -> Address {
    let kind = if bond.random { AddrKind::RANDOM } else { AddrKind::PUBLIC };
    Address::new(kind, BdAddr::new(bond.address))
}

/// A level as the collector names it.
#[must_use]
pub fn security(level: SecurityLevel) -> Security {
    match level {
        level if level.authenticated() => Security::Authenticated,
        level if level.encrypted() => Security::Encrypted,
        _ => Security::None,
    }
}

/// To the host.
#[must_use]
pub fn to_host(bond: &Bond) -> BondInformation {
    let irk = bond.resolving_key.and_then(IdentityResolvingKey::from_le_bytes);
    let level =
        if bond.authenticated { SecurityLevel::EncryptedAuthenticated } else { SecurityLevel::Encrypted };
    let identity = Identity { addr: address_of(bond), irk };
    BondInformation::new(identity, LongTermKey::from_le_bytes(bond.key), level, true)
}

/// From the host.
#[must_use]
pub fn from_host(bond: &BondInformation) -> Bond {
    let mut address = [0; 6];
    for (place, byte) in address.iter_mut().zip(bond.identity.addr.addr.raw()) {
        *place = *byte;
    }
    Bond {
        random: bond.identity.addr.kind.as_raw() & 1 == 1,
        address,
        resolving_key: bond.identity.irk.map(IdentityResolvingKey::to_le_bytes),
        key: bond.ltk.to_le_bytes(),
        authenticated: bond.security_level.authenticated(),
    }
}
