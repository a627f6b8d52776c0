//! One life of a controller, from power-on to power-off: its connection, its rules, and what is sent between them.

use std::collections::{HashMap, VecDeque};
use std::sync::Arc;
use std::time::Duration;

use document::Value;
use rumqttc::{AsyncClient, ClientError, SubscribeFilter};
use tokio::sync::{Notify, mpsc, oneshot, watch};
use tokio::task::JoinSet;

use crate::clock::Uptime;
use crate::connection::{self, Signal};
use crate::controller::{Controller, Order, Receipt};
use crate::messages::{BootReason, NOT_ALIVE};
use crate::randomness::Randomness;
use crate::screen::{Screen, room};
use crate::topics::Up;
use crate::{FixtureOptions, FixtureState, Frame};

/// What is done to a powered fixture from outside.
#[derive(Debug)]
pub(crate) enum Command {
    Wish(Value, oneshot::Sender<u64>),
    Event(String, oneshot::Sender<u64>),
    Clock(u64),
    Frame(oneshot::Sender<Frame>),
    ReportCurrent(oneshot::Sender<u64>),
    Leave(oneshot::Sender<()>),
}

/// A powered controller. Dropping it is cutting its power.
#[derive(Debug)]
pub(crate) struct Life {
    tasks: JoinSet<()>,
    commands: mpsc::UnboundedSender<Command>,
    broken: Arc<Notify>,
}

/// How long a goodbye may take before the socket is dropped without one.
const GOODBYE: Duration = Duration::from_secs(2);

impl Life {
    /// Power on. `boots` counts this one.
    pub(crate) fn begin(
        options: &Arc<FixtureOptions>,
        state: &watch::Sender<FixtureState>,
        reason: BootReason,
        boots: u64,
    ) -> Self {
        let random = Randomness::new(&options.id);
        let (commands, inbox) = mpsc::unbounded_channel();
        let broken = Arc::new(Notify::new());
        let mut tasks = JoinSet::new();
        state.send_modify(|state| {
            state.powered = true;
            state.boots = boots;
        });
        match options.check() {
            Ok(()) => {
                let (sender, signals) = mpsc::unbounded_channel();
                let mut jitter = random.clone();
                jitter.next_u64();
                tasks.spawn(connection::stay_connected(Arc::clone(options), sender, Arc::clone(&broken), jitter));
                let running = Running {
                    controller: Controller::new(Arc::clone(options), reason, boots, random),
                    options: Arc::clone(options),
                    state: state.clone(),
                    powered: options.clock.start(),
                    client: None,
                    sending: VecDeque::new(),
                    in_flight: HashMap::new(),
                };
                tasks.spawn(running.run(signals, inbox));
            }
            Err(error) => state.send_modify(|state| state.fault = Some(error.to_string())),
        }
        Self { tasks, commands, broken }
    }

    /// Does something to the fixture; nothing comes of it when it cannot run.
    pub(crate) fn command(&self, command: Command) {
        let _ = self.commands.send(command);
    }

    /// Breaks the connection without a goodbye; the power stays.
    pub(crate) fn break_connection(&self) {
        self.broken.notify_one();
    }

    /// Begins to cut the power; `end` waits until the socket is gone.
    pub(crate) fn cut(&mut self) {
        self.tasks.abort_all();
    }

    /// Cuts the power and waits until the socket is gone.
    pub(crate) async fn end(mut self) {
        self.tasks.shutdown().await;
    }

    /// Says goodbye, then cuts the power.
    pub(crate) async fn leave(mut self) {
        let (left, gone) = oneshot::channel();
        self.command(Command::Leave(left));
        let _ = tokio::time::timeout(GOODBYE, gone).await;
        self.tasks.shutdown().await;
    }
}

/// What the controller is woken by.
enum Event {
    Signal(Signal),
    Command(Command),
    Due,
}

struct Running {
    controller: Controller,
    options: Arc<FixtureOptions>,
    state: watch::Sender<FixtureState>,
    powered: Uptime,
    client: Option<AsyncClient>,
    /// Receipts of what was handed to the client and has not gone out yet, in order.
    sending: VecDeque<Receipt>,
    in_flight: HashMap<u16, Receipt>,
}

impl Running {
    fn uptime(&self) -> u64 {
        self.powered.ms()
    }

    async fn run(
        mut self,
        mut signals: mpsc::UnboundedReceiver<Signal>,
        mut commands: mpsc::UnboundedReceiver<Command>,
    ) {
        let options = Arc::clone(&self.options);
        let mut room = room(&options.strip);
        let mut screen = Screen::new(&options.strip, &mut room);
        loop {
            let due = self.controller.next_due(self.uptime());
            let event = tokio::select! {
                signal = signals.recv() => match signal {
                    Some(signal) => Event::Signal(signal),
                    None => return,
                },
                command = commands.recv() => match command {
                    Some(command) => Event::Command(command),
                    None => return,
                },
                () = self.powered.until(due) => Event::Due,
            };
            // what its clock has brought meanwhile comes before what is heard now
            let uptime = self.follow(&mut screen);
            let orders = match event {
                Event::Signal(signal) => self.on_signal(signal),
                Event::Command(Command::Leave(left)) => {
                    self.say_goodbye(&mut signals).await;
                    let _ = left.send(());
                    return;
                }
                Event::Command(command) => self.on_command(command, &screen, uptime),
                Event::Due => self.controller.tick(self.uptime()),
            };
            let uptime = self.follow(&mut screen);
            self.carry_out(orders).await;
            self.show(uptime);
        }
    }

    /// Brings the screen to the present, and gives its uptime.
    fn follow(&mut self, screen: &mut Screen<'_>) -> u64 {
        let uptime = self.uptime();
        self.controller.follow(uptime, |picture, now| screen.set(picture, now));
        uptime
    }

    /// Brings the snapshot to where the screen is.
    fn show(&mut self, uptime: u64) {
        self.state.send_modify(|state| self.controller.show(uptime, state));
    }

    fn frame(&self, screen: &Screen<'_>, uptime: u64) -> Frame {
        screen.frame(self.controller.now(uptime), self.controller.ceiling_milliamps())
    }

    fn on_signal(&mut self, signal: Signal) -> Vec<Order> {
        match signal {
            Signal::Up(client) => {
                self.client = Some(client);
                self.state.send_modify(|state| {
                    state.connections += 1;
                    state.fault = None;
                });
                self.controller.connected(self.uptime())
            }
            Signal::Message(publish) => {
                self.controller.message(&publish.topic, &publish.payload, publish.retain, self.uptime())
            }
            Signal::Sent(pkid) => {
                let receipt = self.sending.pop_front().unwrap_or(Receipt::None);
                if pkid == 0 {
                    self.controller.confirmed(receipt);
                } else {
                    self.in_flight.insert(pkid, receipt);
                }
                Vec::new()
            }
            Signal::Acked(pkid) => {
                if let Some(receipt) = self.in_flight.remove(&pkid) {
                    self.controller.confirmed(receipt);
                }
                Vec::new()
            }
            Signal::SubscriptionRefused => {
                self.fault("the broker refused a subscription".to_owned());
                Vec::new()
            }
            Signal::Down(why) => {
                self.client = None;
                self.sending.clear();
                self.in_flight.clear();
                self.controller.disconnected();
                self.fault(why);
                Vec::new()
            }
        }
    }

    fn fault(&self, why: String) {
        tracing::debug!(fixture = %self.options.id, %why, "no connection");
        self.state.send_modify(|state| state.fault = Some(why));
    }

    fn on_command(&mut self, command: Command, screen: &Screen<'_>, uptime: u64) -> Vec<Order> {
        match command {
            Command::Wish(wish, answer) => {
                let (n, orders) = self.controller.press(wish);
                let _ = answer.send(n);
                orders
            }
            Command::Event(name, answer) => {
                let (n, orders) = self.controller.event(&name);
                let _ = answer.send(n);
                orders
            }
            Command::Clock(now_ms) => {
                self.controller.set_clock(now_ms, self.uptime());
                Vec::new()
            }
            Command::Frame(answer) => {
                // whoever has the frame finds the snapshot no older
                self.show(uptime);
                let _ = answer.send(self.frame(screen, uptime));
                Vec::new()
            }
            Command::ReportCurrent(answer) => {
                // the cast saturates, and a strip's milliamps are far below
                let milliamps = self.frame(screen, uptime).milliamps.round() as u64;
                let _ = answer.send(milliamps);
                self.controller.report_current(milliamps)
            }
            Command::Leave(_) => Vec::new(),
        }
    }

    /// Hands the orders to the client, waiting for room in its queue. When that fails, the connection has gone and its
    /// end is already on the way as a signal, so nothing is lost that the next connection does not mend.
    async fn carry_out(&mut self, orders: Vec<Order>) {
        for order in orders {
            if self.hand_over(order).await.is_err() {
                return;
            }
        }
    }

    async fn hand_over(&mut self, order: Order) -> Result<(), ClientError> {
        let Some(client) = &self.client else {
            return Ok(());
        };
        let qos = connection::qos(&self.options);
        match order {
            Order::Subscribe(downs) => {
                let filters = downs.iter().map(|down| SubscribeFilter::new(down.topic(&self.options), qos));
                client.subscribe_many(filters.collect::<Vec<_>>()).await
            }
            Order::Unsubscribe(down) => client.unsubscribe(down.topic(&self.options)).await,
            Order::Publish { up, payload, receipt } => {
                self.sending.push_back(receipt);
                client.publish(up.topic(&self.options), qos, up == Up::Alive, payload).await
            }
        }
    }

    /// A fixture that is taken away in order says so itself, since its will is not sent after a goodbye.
    async fn say_goodbye(&mut self, signals: &mut mpsc::UnboundedReceiver<Signal>) {
        let not_alive = Order::Publish { up: Up::Alive, payload: NOT_ALIVE.to_owned(), receipt: Receipt::None };
        self.carry_out(vec![not_alive]).await;
        if let Some(client) = self.client.take() {
            let said = client.disconnect().await.is_ok();
            // The connection task ends once the broker has closed, and its channel with it.
            while said && signals.recv().await.is_some() {}
        }
        self.state.send_modify(|state| state.connected = false);
    }
}
