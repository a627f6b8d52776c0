//! The section `mqtt`: the broker inside the daemon.

use std::net::{Ipv4Addr, SocketAddr};

use super::section::{Fault, Section, section, section_face};

section! {
    /// The broker inside the daemon. It is not started when broker.url names another one.
    Mqtt {
        /// The address and port on which MQTT 3.1.1 and 5.0 are served. Port 0 takes a free one. Controllers reach it
        /// only on an address of the network, such as 0.0.0.0:1883 for all of this machine.
        /// Default: 127.0.0.1:1883. Environment: SCONCED_MQTT__LISTEN. Flag: --mqtt.
        listen: SocketAddr = SocketAddr::from((Ipv4Addr::LOCALHOST, 1883));
        /// The address and port on which the same is served over WebSocket (path /mqtt).
        /// Default: not served. Environment: SCONCED_MQTT__WEBSOCKET.
        websocket: Option<SocketAddr> = None, for example "\"127.0.0.1:8083\"";
        /// The name or address under which controllers reach this broker; enrolment prints it.
        /// Default: the address of mqtt.listen, or this machine's own on its network when that is all addresses.
        /// Environment: SCONCED_MQTT__HOST.
        host: Option<String> = None, for example "\"lights.lan\"";
        /// The largest MQTT packet in bytes, 16384 to 1048576. A client that sends a larger one is disconnected.
        /// Default: 65536. Environment: SCONCED_MQTT__MAX_PACKET_BYTES.
        max_packet_bytes: u32 = 65_536;
        /// The most connections at one time, 1 to 1000000.
        /// Default: 10000. Environment: SCONCED_MQTT__MAX_CONNECTIONS.
        max_connections: u32 = 10_000;
        /// The most connections at one time from one address, 1 to 1000000. Not counted on loopback.
        /// Default: 256. Environment: SCONCED_MQTT__CONNECTIONS_PER_ADDRESS.
        connections_per_address: u32 = 256;
        /// How many log-ins may fail in a minute, for one name and from one address, before they are slowed: 1 to
        /// 10000. Default: 30. Environment: SCONCED_MQTT__FAILED_LOGINS_PER_MINUTE.
        failed_logins_per_minute: u32 = 30;
    }
}

impl Section for Mqtt {
    section_face!("mqtt");

    fn check(&self) -> Result<(), Fault> {
        // the whole document with its agenda has to fit into a packet
        let bounds = [
            ("mqtt.max_packet_bytes", self.max_packet_bytes, 16_384, 1024 * 1024),
            ("mqtt.max_connections", self.max_connections, 1, 1_000_000),
            ("mqtt.connections_per_address", self.connections_per_address, 1, 1_000_000),
            ("mqtt.failed_logins_per_minute", self.failed_logins_per_minute, 1, 10_000),
        ];
        for (name, value, least, most) in bounds {
            if !(least..=most).contains(&value) {
                return Err(Fault::bounds(name, value, least, most));
            }
        }
        if let Some(websocket) = self.websocket
            && websocket.port() != 0
            && websocket == self.listen
        {
            return Err(Fault::new(
                "mqtt.websocket",
                format!("{websocket} is the address of mqtt.listen"),
                "write another port, such as \"127.0.0.1:8083\"",
            ));
        }
        if let Some(host) = &self.host
            && (host.len() > 253 || host.contains(|c: char| c.is_whitespace() || c.is_control() || "/@\"".contains(c)))
        {
            return Err(Fault::new(
                "mqtt.host",
                format!("{host:?} is neither a name nor an address"),
                "write the name or address alone, such as \"lights.lan\" or \"192.168.1.20\"",
            ));
        }
        Ok(())
    }
}
