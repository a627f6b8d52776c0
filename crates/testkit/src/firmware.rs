//! A fixture's controller as the plainest possible MQTT client: it does nothing that the test does not tell it to.

use std::sync::{Arc, Condvar, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use rumqttc::{Client, Connection, Event, Incoming, LastWill, MqttOptions, NetworkOptions, QoS};
use serde_json::Value;

use crate::wait::PATIENCE;

/// A message that was heard.
#[derive(Debug, Clone)]
pub struct Heard {
    /// Its topic.
    pub topic: String,
    /// Whether it was stored by the broker.
    pub retained: bool,
    /// Its payload as JSON; null when it is none.
    pub json: Value,
    /// Its payload.
    pub payload: Vec<u8>,
}

/// How it connects.
#[derive(Debug, Clone)]
pub struct Login {
    /// Host and port.
    pub broker: (String, u16),
    /// The user name.
    pub username: String,
    /// The password.
    pub secret: String,
    /// The client id.
    pub client_id: String,
    /// Topic and payload of the will, retained.
    pub will: Option<(String, String)>,
    /// The quality of service of all it sends and subscribes to: 0 or 1.
    pub qos: u8,
}

#[derive(Default)]
struct Ear {
    heard: Vec<Heard>,
    connected: bool,
    subscribed: usize,
    acknowledged: usize,
    ended: Option<String>,
}

/// A connected controller.
pub struct Firmware {
    client: Client,
    ear: Arc<(Mutex<Ear>, Condvar)>,
    thread: Option<JoinHandle<()>>,
    id: String,
    qos: QoS,
}

fn level(qos: u8) -> QoS {
    if qos == 0 { QoS::AtMostOnce } else { QoS::AtLeastOnce }
}

impl Login {
    /// The login of a fixture, as its enrolment says.
    #[must_use]
    pub fn of(broker: &(String, u16), id: &str, secret: &str) -> Self {
        Self {
            broker: broker.clone(),
            username: id.into(),
            secret: secret.into(),
            client_id: id.into(),
            will: None,
            qos: 1,
        }
    }
}

impl Firmware {
    /// Connects.
    ///
    /// # Errors
    /// Why the broker refused.
    pub fn connect(login: &Login) -> Result<Self, String> {
        let mut options = MqttOptions::new(&login.client_id, &login.broker.0, login.broker.1);
        options
            .set_credentials(&login.username, &login.secret)
            .set_keep_alive(Duration::from_secs(30))
            .set_max_packet_size(256 * 1024, 256 * 1024);
        if let Some((topic, payload)) = &login.will {
            options.set_last_will(LastWill::new(topic, payload.clone(), QoS::AtLeastOnce, true));
        }
        let (client, mut connection) = Client::new(options, 4096);
        let mut network = NetworkOptions::new();
        network.set_tcp_nodelay(true);
        connection.eventloop.set_network_options(network);
        let ear = Arc::new((Mutex::new(Ear::default()), Condvar::new()));
        let thread = std::thread::spawn({
            let ear = Arc::clone(&ear);
            move || listen(connection, &ear)
        });
        let firmware = Self { client, ear, thread: Some(thread), id: login.username.clone(), qos: level(login.qos) };
        firmware.wait_ear("a connection", |ear| ear.connected || ear.ended.is_some());
        let ended = firmware.with_ear(|ear| ear.ended.clone());
        match ended {
            Some(why) => Err(why),
            None => Ok(firmware),
        }
    }

    /// Connects a fixture and subscribes to what it may hear.
    ///
    /// # Panics
    /// When it cannot.
    #[must_use]
    pub fn start(broker: &(String, u16), id: &str, secret: &str) -> Self {
        let mut login = Login::of(broker, id, secret);
        login.will = Some((format!("fixtures/{id}/alive"), "{\"alive\":false}".into()));
        let firmware = Self::connect(&login).unwrap_or_else(|why| panic!("{id}: {why}"));
        for what in ["desired", "showing", "patch", "problem"] {
            firmware.subscribe(&format!("fixtures/{id}/{what}"));
        }
        firmware
    }

    fn with_ear<T>(&self, ask: impl FnOnce(&Ear) -> T) -> T {
        ask(&self.ear.0.lock().expect("the ear"))
    }

    fn wait_ear(&self, what: &str, ready: impl Fn(&Ear) -> bool) {
        let start = Instant::now();
        let mut ear = self.ear.0.lock().expect("the ear");
        while !ready(&ear) {
            assert!(start.elapsed() < PATIENCE, "{} waited in vain for {what}; it heard {:?}", self.id, ear.heard);
            ear = self.ear.1.wait_timeout(ear, Duration::from_millis(200)).expect("the ear").0;
        }
    }

    /// Subscribes, and waits for the broker's word.
    pub fn subscribe(&self, filter: &str) {
        let before = self.with_ear(|ear| ear.subscribed);
        self.client.subscribe(filter, self.qos).expect("the client takes it");
        self.wait_ear("a subscription", |ear| ear.subscribed > before || ear.ended.is_some());
    }

    /// Publishes on a topic of its own.
    pub fn say(&self, what: &str, payload: &Value) {
        self.say_raw(&format!("fixtures/{}/{what}", self.id), payload.to_string().as_bytes(), what == "alive");
    }

    /// Publishes anything anywhere.
    pub fn say_raw(&self, topic: &str, payload: &[u8], retained: bool) {
        self.client.publish(topic, self.qos, retained, payload.to_vec()).expect("the client takes it");
    }

    /// How many of its publications the broker has acknowledged.
    #[must_use]
    pub fn acknowledged(&self) -> usize {
        self.with_ear(|ear| ear.acknowledged)
    }

    /// Waits until so many publications are acknowledged.
    pub fn wait_acknowledged(&self, count: usize) {
        self.wait_ear("acknowledgements", |ear| ear.acknowledged >= count);
    }

    /// Everything heard so far.
    #[must_use]
    pub fn heard(&self) -> Vec<Heard> {
        self.with_ear(|ear| ear.heard.clone())
    }

    /// What was heard from a place in the order of hearing on.
    #[must_use]
    pub fn heard_from(&self, place: usize) -> Vec<Heard> {
        self.with_ear(|ear| ear.heard.get(place..).unwrap_or_default().to_vec())
    }

    /// Waits for a message on a topic of its own.
    ///
    /// # Panics
    /// When none comes.
    #[must_use]
    pub fn wait(&self, what: &str, wanted: impl Fn(&Heard) -> bool) -> Heard {
        let topic = format!("fixtures/{}/{what}", self.id);
        let found = |ear: &Ear| ear.heard.iter().rev().find(|heard| heard.topic == topic && wanted(heard)).cloned();
        self.wait_ear(&format!("a message on {topic}"), |ear| found(ear).is_some());
        self.with_ear(found).expect("it was there")
    }

    /// Waits until the connection has ended, and gives why.
    #[must_use]
    pub fn wait_ended(&self) -> String {
        self.wait_ear("the end of the connection", |ear| ear.ended.is_some());
        self.with_ear(|ear| ear.ended.clone()).unwrap_or_default()
    }

    /// Whether the connection has ended.
    #[must_use]
    pub fn has_ended(&self) -> bool {
        self.with_ear(|ear| ear.ended.is_some())
    }

    /// Takes leave.
    pub fn disconnect(mut self) {
        let _ = self.client.disconnect();
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

impl Drop for Firmware {
    fn drop(&mut self) {
        let _ = self.client.try_disconnect();
    }
}

fn listen(mut connection: Connection, ear: &(Mutex<Ear>, Condvar)) {
    loop {
        let event = connection.recv();
        let mut open = ear.0.lock().expect("the ear");
        match event {
            Ok(Ok(Event::Incoming(Incoming::ConnAck(_)))) => open.connected = true,
            Ok(Ok(Event::Incoming(Incoming::SubAck(_)))) => open.subscribed += 1,
            Ok(Ok(Event::Incoming(Incoming::PubAck(_)))) => open.acknowledged += 1,
            Ok(Ok(Event::Incoming(Incoming::Publish(publish)))) => open.heard.push(Heard {
                topic: publish.topic.clone(),
                retained: publish.retain,
                json: serde_json::from_slice(&publish.payload).unwrap_or(Value::Null),
                payload: publish.payload.to_vec(),
            }),
            Ok(Ok(_)) => {}
            Ok(Err(error)) => open.ended = Some(error.to_string()),
            Err(_) => open.ended = Some("the client is gone".into()),
        }
        let ended = open.ended.is_some();
        drop(open);
        ear.1.notify_all();
        if ended {
            return;
        }
    }
}
