// The worker through which a browser shows notices; it takes no part in what the page loads.
self.addEventListener('notificationclick', e => {
  e.notification.close();
  e.waitUntil(clients.matchAll({ type: 'window', includeUncontrolled: true }).then(all => all.length ? all[0].focus() : clients.openWindow('/')));
});
