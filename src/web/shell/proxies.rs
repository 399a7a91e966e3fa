//! Proxies of our own, by name: only what they add to a request is believed.

use std::net::IpAddr;
use std::str::FromStr;

/// An address, or a network of addresses as `10.0.0.0/8`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Network {
    address: IpAddr,
    /// Leading bits that must agree.
    bits: u32,
}

impl FromStr for Network {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || {
            "write the addresses of your proxies, separated by commas, like 127.0.0.1,10.0.0.0/8"
                .to_owned()
        };
        let (address, bits) = match text.trim().split_once('/') {
            Some((address, bits)) => (address, Some(bits.parse().map_err(|_| wrong())?)),
            None => (text.trim(), None),
        };
        let address: IpAddr = address.parse().map_err(|_| wrong())?;
        let most = if address.is_ipv4() { 32 } else { 128 };
        let bits = bits.unwrap_or(most);
        if bits > most {
            return Err(wrong());
        }
        Ok(Self { address, bits })
    }
}

impl Network {
    fn holds(self, address: IpAddr) -> bool {
        let differ = match (self.address, address) {
            (IpAddr::V4(one), IpAddr::V4(other)) => {
                (one.to_bits() ^ other.to_bits()).leading_zeros()
            }
            (IpAddr::V6(one), IpAddr::V6(other)) => {
                (one.to_bits() ^ other.to_bits()).leading_zeros()
            }
            _ => return false,
        };
        differ >= self.bits
    }
}

/// Whether an address is one of these proxies.
pub(in crate::web) fn is_ours(proxies: &[Network], address: IpAddr) -> bool {
    let address = address.to_canonical();
    proxies.iter().any(|network| network.holds(address))
}

/// Where a request comes from: the peer, unless that is a proxy of ours; then the last address in `X-Forwarded-For` that is
/// none of ours, as each proxy appends the one it was called from. What stands before it, anybody may have written.
pub(in crate::web) fn origin<'a>(
    proxies: &[Network],
    peer: IpAddr,
    forwarded: impl DoubleEndedIterator<Item = &'a str>,
) -> IpAddr {
    let mut origin = peer.to_canonical();
    if !is_ours(proxies, origin) {
        return origin;
    }
    for entry in forwarded.flat_map(|line| line.split(',')).rev() {
        let Ok(address) = entry.trim().parse::<IpAddr>() else {
            break;
        };
        origin = address.to_canonical();
        if !is_ours(proxies, origin) {
            break;
        }
    }
    origin
}

#[cfg(test)]
mod tests {
    use super::*;

    fn came_from(peer: &str, forwarded: &[&str]) -> String {
        let proxies: Vec<Network> = ["127.0.0.1", "10.0.0.0/8", "fd00::/8"]
            .iter()
            .map(|text| text.parse().unwrap())
            .collect();
        let peer = peer.parse().unwrap();
        origin(&proxies, peer, forwarded.iter().copied()).to_string()
    }

    #[test]
    fn only_what_our_own_proxies_add_is_believed() {
        assert_eq!(came_from("192.0.2.7", &["198.51.100.1"]), "192.0.2.7");
        assert_eq!(came_from("127.0.0.1", &["198.51.100.1"]), "198.51.100.1");
        assert_eq!(
            came_from("::ffff:127.0.0.1", &["198.51.100.1"]),
            "198.51.100.1"
        );
        // What the caller wrote stands first, what the proxies added last.
        assert_eq!(
            came_from("10.1.2.3", &["203.0.113.9, 198.51.100.1", "10.9.9.9"]),
            "198.51.100.1"
        );
        assert_eq!(
            came_from("fd12::1", &["nonsense, 2001:db8::5"]),
            "2001:db8::5"
        );
        assert_eq!(
            came_from("127.0.0.1", &["198.51.100.1, nonsense"]),
            "127.0.0.1"
        );
        assert_eq!(came_from("127.0.0.1", &[]), "127.0.0.1");
    }

    #[test]
    fn networks_are_read_and_nothing_else_is() {
        assert!("10.0.0.0/8".parse::<Network>().is_ok());
        for wrong in ["true", "", "10.0.0.0/33", "proxy.example", "::1/129"] {
            assert!(wrong.parse::<Network>().is_err(), "{wrong}");
        }
    }
}
