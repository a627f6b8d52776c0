//! The section `http`.

use std::net::{Ipv4Addr, SocketAddr};

use super::section::{Fault, Section, section, section_face};

section! {
    /// The HTTP server: API, page and documentation.
    Http {
        /// The address and port on which HTTP is served. Port 0 takes a free one. An address other than one of
        /// 127.0.0.0/8 or ::1 can be reached by the whole network: there is no encryption, so put a proxy with TLS
        /// before it.
        /// Default: 127.0.0.1:8470. Environment: SCONCED_HTTP__LISTEN. Flag: --http.
        listen: SocketAddr = SocketAddr::from((Ipv4Addr::LOCALHOST, 8470));
        /// Whether everybody on this machine may do everything without a token. Others still need one. Never behind a
        /// proxy on the same machine: what the proxy hands on would come from this machine too.
        /// Default: false. Environment: SCONCED_HTTP__OPEN_ON_LOOPBACK. Flag: --open-on-loopback.
        open_on_loopback: bool = false;
    }
}

impl Section for Http {
    section_face!("http");

    fn check(&self) -> Result<(), Fault> {
        Ok(())
    }
}
